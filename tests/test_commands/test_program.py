"""The command line as a whole: help, near misses, exit codes, `check` and `simulate`."""

from __future__ import annotations

import json
import re
import shutil
import socket
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from stations import ROOT

from batchtest import errors
from batchtest.commands import COMMANDS, exit_code, main, program


def run(*arguments: str, folder: Path = ROOT, monkeypatch: pytest.MonkeyPatch | None = None) -> tuple[int, str]:
    """Run a command in this process; exit code and all that it printed."""
    if monkeypatch is not None:
        monkeypatch.chdir(folder)
    found = CliRunner().invoke(program, list(arguments))
    return found.exit_code, found.output


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_explains_itself_with_an_example(command: str):
    """--help of each command shows how it is called."""
    code, said = run(command, "--help")
    assert code == 0
    assert f"batchtest {command}" in said


def test_help_lists_every_command():
    """The program's own help names them all."""
    code, said = run("--help")
    assert code == 0
    assert all(command in said for command in COMMANDS)


def test_a_command_that_is_nearly_right_is_met_with_the_right_one():
    """A typing slip gets the name that was meant, and exit code 2."""
    code, said = run("bords")
    assert code == 2
    assert "no command 'bords'; did you mean 'boards'?" in said


@pytest.mark.parametrize(
    ("error", "code"),
    [
        pytest.param(errors.SetupError("a"), 2, id="file"),
        pytest.param(errors.FileFaults([errors.Fault("a", 1, "b", "c")]), 2, id="faults"),
        pytest.param(errors.InstrumentLost("a"), 3, id="bench"),
        pytest.param(errors.OutputsNotOff("a"), 3, id="live"),
        pytest.param(errors.RecordError("a"), 3, id="record"),
        pytest.param(errors.NotProven("a"), 4, id="refused"),
    ],
)
def test_the_exit_code_says_what_to_do_next(error: errors.StationError, code: int):
    """Mend a file, look at the bench, or look at cable and fixture."""
    assert exit_code(error) == code


def test_an_error_on_purpose_is_a_line_and_a_code(monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]):
    """No traceback reaches a person for what batchtest raises on purpose."""
    monkeypatch.chdir(ROOT)
    with pytest.raises(SystemExit) as ended:
        main(["check", "vent-nst", "--bench", "simulated"])
    assert ended.value.code == 2
    assert capsys.readouterr().err == "no fixture 'vent-nst'; did you mean 'vent-nest'?\n"


def test_check_prints_the_procedure_with_its_time(monkeypatch: pytest.MonkeyPatch):
    """Files without fault: every action, its readings and limits, and the seconds a board takes."""
    code, said = run("check", "vent-nest", "--bench", "simulated", monkeypatch=monkeypatch)
    assert code == 0
    assert "s a board" in said
    assert "the gate ends here: a proof, or no power" in said
    assert "logic @ load point 3" in said


def test_check_tells_the_same_to_machines(monkeypatch: pytest.MonkeyPatch):
    """--json has every fixture, and every action with its seconds, which add up to the board's."""
    code, said = run("check", "--bench", "simulated", "--json", monkeypatch=monkeypatch)
    procedures = json.loads(said)
    assert code == 0
    assert [procedure["fixture"] for procedure in procedures] == ["mist-nest", "vent-nest", "cabinet-breakout"]
    for procedure in procedures:
        sum_s = sum(action["seconds"] for action in procedure["actions"])
        assert procedure["seconds"] == pytest.approx(sum_s, abs=0.02)
    assert [each["name"] for each in procedures[1]["matings"]] == ["vent-lead", "vent-nest"]


def test_check_warns_of_a_cable_that_is_worn_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Mated more often than it is rated for, by what was tested with it."""
    (tmp_path / "matings.cable.vent-lead.simulated.csv").write_text("used,time,batch,serial\n" + "12,,,\n" * 489)
    arguments = ("check", "vent-nest", "--bench", "simulated", "--reports", str(tmp_path))
    last = run(*arguments, monkeypatch=monkeypatch)[1].splitlines()[-1]
    assert last.startswith("worn: cable vent-lead was mated 501 times and is rated for 500; replace its contacts")


def test_check_says_every_fault_of_every_file(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Two files with a fault each: both are told, each with its line, and the exit code is 2."""
    import shutil

    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    limits, bench = tmp_path / "limits" / "vent.toml", tmp_path / "fixtures" / "benches" / "simulated.toml"
    limits.write_text(limits.read_text().replace('revision = "B"', "revision = 2"))
    bench.write_text(bench.read_text().replace('mains = "50 Hz"', 'mains = "50"'))
    monkeypatch.chdir(tmp_path)
    with pytest.raises(errors.FileFaults) as found:
        program.main(["check", "vent-nest", "--bench", "simulated"], standalone_mode=False)
    assert [(fault.file, fault.path) for fault in found.value.faults] == [
        ("fixtures/benches/simulated.toml", "mains"),
        ("limits/vent.toml", "revision"),
    ]
    assert all(fault.line for fault in found.value.faults)


def test_the_truth_of_a_board_is_told_without_testing_it(monkeypatch: pytest.MonkeyPatch):
    """Fault, true readings and what the board must be come from circuit and limits."""
    arguments = ("simulate", "--bench", "simulated", "--truth", "VN-0003..VN-0004")
    code, said = run(*arguments, "--json", monkeypatch=monkeypatch)
    good, bad = json.loads(said)
    assert code == 0
    assert (good["serial"], good["fault"], good["must"]) == ("VN-0003", None, "pass")
    assert (bad["fault"], bad["must"]) == ("R5B open", "not-pass")
    assert good["readings"]["logic @ load point 1"] == pytest.approx(5.0, rel=0.03)
    assert run(*arguments, monkeypatch=monkeypatch)[1].splitlines()[1].split() == ["VN-0004", "not-pass", "R5B", "open"]


def test_only_a_simulated_bench_can_be_served(monkeypatch: pytest.MonkeyPatch):
    """A bench with real instruments has nothing to serve."""
    monkeypatch.chdir(ROOT)
    with pytest.raises(errors.SetupError, match="bench 'lan' has real instruments"):
        program.main(["simulate", "--bench", "lan"], standalone_mode=False)


def test_the_served_bench_answers_any_client_until_it_is_told_to_end():
    """Addresses on standard output; a plain socket gets its *IDN?; it ends with its standard input."""
    arguments = [sys.executable, "-m", "batchtest", "simulate", "--bench", "simulated", "--json", "--until-eof"]
    with subprocess.Popen(arguments, cwd=ROOT, stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True) as served:
        assert served.stdout is not None
        assert served.stdin is not None
        addresses = json.loads(served.stdout.readline())["addresses"]
        assert list(addresses) == ["meter", "load", "supply", "scanner", "handler"]
        _, host, port, _ = addresses["meter"].split("::")
        with socket.create_connection((host, int(port)), 5) as client:
            client.sendall(b"*IDN?\n")
            assert client.recv(200).startswith(b"Glasshouse Bench Works,simulated meter,SM-1,")
        served.stdin.close()
        assert served.wait(10) == 0


def test_an_address_that_moves_is_warned_of_beside_the_procedure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """On standard error, so that a machine still gets its object."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    file = tmp_path / "fixtures" / "benches" / "lan.toml"
    address = "TCPIP0::127.0.0.1::5025::SOCKET"
    file.write_text(file.read_text().replace(address, "ASRL/dev/ttyUSB0::INSTR", 1))
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(program, ["check", "vent-nest", "--bench", "lan", "--json"])
    assert done.exit_code == 0
    assert json.loads(done.stdout)
    assert done.stderr.startswith("meter: /dev/ttyUSB0 may be another adapter after the next start")


def test_a_simulated_bench_is_reached_by_the_transports_of_its_file(tmp_path: Path):
    """A serial line, HiSLIP, VXI-11 and a socket, served by one process and opened by another."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    file = tmp_path / "fixtures" / "benches" / "simulated.toml"
    ways = 'transport = "hislip"\ntransports = { meter = "pty", load = "vxi11", supply = "tcp" }\n'
    file.write_text(file.read_text().replace("[simulation]\n", f"[simulation]\n{ways}", 1))
    done = subprocess.run(
        [sys.executable, "-m", "batchtest", "bench", "--bench", "simulated", "--json"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=60,
        check=True,
    )
    found = {each["role"]: each["address"] for each in json.loads(done.stdout)["instruments"]}
    assert re.fullmatch("ASRL/dev/pts/[0-9]+::INSTR", found["meter"])
    assert "::inst0::" in found["load"]
    assert found["supply"].endswith("::SOCKET")
    assert {"::hislip0," in found[role] for role in ("scanner", "handler")} == {True}
