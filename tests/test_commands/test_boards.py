"""`batchtest boards` as its user runs it: in a process of its own, with its exit codes, files and signals."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from stations import ROOT, demo_setup, folder_with_addresses
from test_records.contexts import closed
from test_records.waivers import a_waiver

from batchtest.clock import ScaledClock
from batchtest.commands import main
from batchtest.commands.station import told_of
from batchtest.errors import SetupError
from batchtest.nouns import Outcome, Phase
from batchtest.pages.words import shown_dead
from batchtest.records.record import read_record
from batchtest.records.waiver import write_waiver
from batchtest.simulated import RunningBench, start_bench

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

BOARDS = ("boards", "vent-nest", "--batch", "try")
#: How much quicker than in truth the instruments of the bench "wired" are; the station's own waits are real.
QUICK = 5.0


def batchtest(*arguments: str, folder: Path = ROOT) -> subprocess.CompletedProcess[str]:
    """Run the command line in a folder and wait for it."""
    return subprocess.run(
        [sys.executable, "-m", "batchtest", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@contextmanager
def wired(folder: Path, **simulation: object) -> Iterator[RunningBench]:
    """A quick simulated bench in this process, and a project folder that reaches it as the real bench "wired"."""
    with start_bench(demo_setup(transport="tcp", **simulation), ScaledClock(QUICK)) as running:  # type: ignore[arg-type]
        folder_with_addresses(folder, running)
        yield running


def test_a_batch_leaves_records_pages_and_a_summary(tmp_path: Path):
    """Good and bad boards: a record and a page each, a batch page, one JSON object that says it all.

    The bench was never challenged: its handler changes cables, so that is done first, by itself. With --strict the bad
    board makes the exit code 1; without it is 0, as below.
    """
    reports = str(tmp_path / "reports")
    serials = ("--serials", "VN-0003..VN-0004", "--reports", reports, "--json")
    done = batchtest(*BOARDS, "--bench", "simulated", *serials, "--strict")
    assert (done.returncode, done.stderr) == (1, "")
    found = json.loads(done.stdout)
    assert found["batch"] == "try"
    assert [(each["serial"], each["attempt"], each["outcome"]) for each in found["attempts"]] == [
        ("VN-0003", 1, "pass"),
        ("VN-0004", 1, "fail"),
    ]
    assert found["attempts"][0]["first_cause"] is None
    for each in found["attempts"]:
        assert Path(each["record"]).is_file()
        assert Path(each["record"]).with_suffix(".html").is_file()
    assert (found["challenge"]["passed"], found["challenge"]["wrong"]) == (True, "mist-lead")
    assert all((tmp_path / "reports" / name).is_file() for name in found["challenge"]["records"])
    assert {"batch.html", "batch.json"} <= {path.name for path in (tmp_path / "reports" / "try").iterdir()}


def test_the_same_batch_again_wants_a_reason_and_says_how_to_give_it(tmp_path: Path):
    """Without one, in a pipe: exit code 2 and nothing started; with one it is attempt 2, and its record says why."""
    closed(tmp_path, "VN-0009", Outcome.FAIL, "logic is low", batch="try")
    arguments = (*BOARDS, "--bench", "simulated", "--serials", "VN-0009", "--reports", str(tmp_path))
    again = batchtest(*arguments)
    assert (again.returncode, again.stdout) == (2, "")
    assert "tested before in batch try: VN-0009 (VN-0009 attempt 1 before: FAIL on " in again.stderr
    assert "say why with --reason re-seated|reworked|" in again.stderr
    said = batchtest(*arguments, "--reason", "re-seated", "--humidity", "45 %", "--firmware", "1.2")
    assert said.returncode == 0
    assert "VN-0009 attempt 2: FAIL" in said.stdout
    context = read_record(tmp_path / "try" / "VN-0009.2.csv").context
    assert (context.retest.reason, context.retest.earlier) == ("re-seated", ("try/VN-0009.1.csv",))
    assert (context.humidity, context.firmware) == (0.45, "1.2")


@pytest.mark.parametrize(
    ("said", "message"),
    [
        pytest.param((None, None, "45"), "--humidity has no unit", id="humidity-without-unit"),
        pytest.param((None, None, "145 %"), "--humidity '145 %' is none; write a share", id="too-wet"),
        pytest.param((None, "12 V", None), "--option '12 V' is not '24 V', which the limits of vent", id="option"),
    ],
)
def test_what_was_told_does_not_contradict_the_files(said: tuple[str | None, ...], message: str):
    """Limits are for one kind of board; which of the two is wrong, the person must say."""
    with pytest.raises(SetupError, match=message):
        told_of(demo_setup(), *said)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("boards", "vent-nst", "--bench", "simulated"), "did you mean 'vent-nest'?", id="fixture"),
        pytest.param(("boards", "vent-nest", "--bench", "simulate"), "did you mean 'simulated'?", id="bench"),
        pytest.param(
            (*BOARDS[:2], "--bench", "simulated", "--serials", "MS-0001"), "is no serial of vent", id="serial"
        ),
        pytest.param((*BOARDS[:2], "--bench", "simulated", "--serials", "VN-0002..VN-0001"), "is no range", id="range"),
        pytest.param(
            (*BOARDS[:2], "--bench", "simulated", "--ambient", "23"),
            "--ambient has no unit; write it such as",
            id="ambient",
        ),
        pytest.param((*BOARDS[:2], "--bench", "simulated", "--batch", "../x"), "batch '../x' cannot be", id="batch"),
    ],
)
def test_an_argument_that_needs_mending_ends_with_two(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    arguments: tuple[str, ...],
    message: str,
):
    """Nothing is started for an argument that is wrong; the message names the cure."""
    monkeypatch.chdir(ROOT)
    batch = () if "--batch" in arguments else ("--batch", "try")
    with pytest.raises(SystemExit) as ended:
        main([*arguments, *batch, "--reports", str(tmp_path)])
    said = capsys.readouterr()
    assert (ended.value.code, said.out) == (2, "")
    assert message in said.err


def test_an_instrument_that_is_not_there_ends_with_three(tmp_path: Path):
    """The bench's fault is told from the person's and from the board's."""
    with wired(tmp_path) as running:
        running.stop()
        done = batchtest(*BOARDS, "--bench", "wired", "--serials", "VN-0001", folder=tmp_path)
    assert done.returncode == 3
    assert "load: connection lost at 'open TCPIP0::127.0.0.1" in done.stderr


def test_a_wrong_cable_is_refused_with_four(tmp_path: Path):
    """Not proven safe: nothing was powered, the batch ends, the next board is not touched."""
    with wired(tmp_path, cable="mist-lead") as running:
        done = batchtest(*BOARDS, "--bench", "wired", "--serials", "VN-0001..VN-0002", "--json", folder=tmp_path)
        assert not running.log.was_on("supply")
        assert not running.log.was_on("load")
    assert done.returncode == 4
    assert "the cable reads like mist-lead: " in done.stderr
    assert "resume" not in done.stderr
    found = json.loads(done.stdout)
    assert [each["outcome"] for each in found["attempts"]] == ["refused"]
    assert (found["challenge"], found["error"]) == (None, done.stderr.strip())


def test_the_demo_of_the_wrong_cable_names_it_and_the_wire(tmp_path: Path):
    """README's second thing to try: exit code 4, cautions first, then cable, colour, pins, and what to do."""
    arguments = ("boards", "vent-nest", "--bench", "simulated-wrong-cable", "--batch", "wrong")
    done = batchtest(*arguments, "--serials", "VN-0001..VN-0001", "--reports", str(tmp_path))
    assert done.returncode == 4
    assert "reads like mist-lead: its pink wire (PK), board pin 6, goes to host pin 6, not 5" in done.stdout
    assert "Nothing was powered. Take it out at both ends, fit vent-lead" in done.stdout
    assert done.stderr == "refused: the batch ends at VN-0001\n"
    assert done.stdout.index("caution: Eye protection") < done.stdout.index("VN-0001 attempt 1: REFUSED")
    record = read_record(tmp_path / "wrong" / "VN-0001.1.csv")
    assert {line.measurement.phase for line in record.lines} == {"gate"}
    assert (tmp_path / "wrong" / "VN-0001.1.html").is_file()


def test_a_waiver_forged_on_the_disk_stops_the_batch_at_its_start(tmp_path: Path):
    """One that excuses a cold check, with all its hashes right: exit code 3, and no board is touched."""
    now = datetime.now().astimezone()
    forged = a_waiver(batch="try", readings=("supply-short",), written=now, expires=now + timedelta(days=3))
    write_waiver(tmp_path, forged)
    done = batchtest(*BOARDS, "--bench", "simulated", "--serials", "VN-0003", "--reports", str(tmp_path))
    assert done.returncode == 3
    assert done.stderr == "waiver 1 excuses 'supply-short', which nobody may; go on in a new batch\n"
    assert [path.name for path in (tmp_path / "try").iterdir()] == ["waiver.1.json"]
    assert not (tmp_path / "challenges").exists()


@pytest.mark.parametrize(("number", "phase"), [(signal.SIGTERM, "soft start"), (signal.SIGINT, "load")])
def test_a_signal_in_mid_board_leaves_the_bench_off(tmp_path: Path, number: signal.Signals, phase: str):
    """Ctrl-C and SIGTERM under power: off at the instruments, measured, stopped, all in its file."""
    with wired(tmp_path) as running:
        arguments = [*BOARDS, "--bench", "wired", "--serials", "VN-0001..VN-0002"]
        with subprocess.Popen(
            [sys.executable, "-m", "batchtest", *arguments],
            cwd=tmp_path,
            stderr=subprocess.PIPE,
            stdout=subprocess.DEVNULL,
        ) as station:
            part = tmp_path / "reports" / "try" / "VN-0001.1.csv.part"
            wait_for(part, f",{phase},")
            assert running.instruments.supply.output_on
            os.kill(station.pid, number)
            _, said = station.communicate(timeout=30)
        assert not running.instruments.supply.output_on
        assert running.instruments.load.inputs_on == ()
    assert station.returncode == 130, said
    assert b"resume at serial VN-0001: --serials VN-0001..VN-0002" in said
    record = read_record(tmp_path / "reports" / "try" / "VN-0001.1.csv")
    assert record.attempt.outcome == "stopped"
    phases = [line.measurement.phase for line in record.lines]
    assert phases[phases.index(Phase.POWER_DOWN) - 1] == phase
    assert shown_dead(record.lines)


def wait_for(part: Path, text: str) -> None:
    """Wait until a growing record holds a text."""
    deadline = time.monotonic() + 30
    while not (part.exists() and text in part.read_text()):
        assert time.monotonic() < deadline, f"{part.name} never held {text!r}"
        time.sleep(0.02)
