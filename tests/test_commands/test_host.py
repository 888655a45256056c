"""`batchtest host` as its user runs it, and hosts in `check` and `simulate`."""

from __future__ import annotations

import json
import re
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from host_stands import HostStand, host_setup, host_stand
from stations import ROOT

from batchtest.commands import program
from batchtest.commands.host import cannot_tell
from batchtest.commands.host_station import plug_of, switch_of
from batchtest.commands.screen import SilentScreen

HOST = ("host", "cabinet-breakout", "--bench", "simulated")


def run(*arguments: str) -> Result:
    """Run a command in this process, in the demo's folder."""
    before = signal.getsignal(signal.SIGTERM)
    try:
        return CliRunner().invoke(program, list(arguments))
    finally:
        signal.signal(signal.SIGTERM, before)


def batchtest(*arguments: str) -> subprocess.CompletedProcess[str]:
    """Run the command line and wait for it."""
    return subprocess.run(
        [sys.executable, "-m", "batchtest", *arguments],
        cwd=ROOT,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )


@pytest.fixture(autouse=True)
def _in_the_demos_folder(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)


def test_a_good_host_is_mapped_and_recorded(tmp_path: Path):
    """Exit code 0; one JSON object with every pin, what no voltage tells, and where record and page are."""
    done = run(*HOST, "--serial", "CB-001", "--reports", str(tmp_path), "--json")
    assert (done.exit_code, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["host"], found["serial"], found["attempt"], found["outcome"]) == ("cabinet", "CB-001", 1, "pass")
    assert [tuple(pin["pins"]) for pin in found["pins"]][:2] == [(2, 7), (1, 7)]
    assert all(pin["lower_V"] < pin["value_V"] < pin["upper_V"] for pin in found["pins"])
    assert found["alike"] == [[1, 2], [1, 3], [2, 3]]
    assert Path(found["record"]).is_file()
    assert Path(found["record"]).with_suffix(".html").is_file()


def test_a_host_with_swapped_pins_is_refused_after_the_cautions(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Exit code 4; cautions first, mains inside among them; every pin in a table, the swap on stderr."""
    monkeypatch.setenv("COLUMNS", "120")
    done = run(*HOST, "--serial", "CB-003", "--reports", str(tmp_path))
    assert done.exit_code == 4
    said = done.stdout.splitlines()
    assert said[0] == "SIMULATED BENCH: no real board is measured"
    assert said[2].startswith("caution: This host is fed by 230 V mains")
    assert "only licensed or competent persons as local codes say" in done.stdout
    assert re.search(r"5 to 7 +ground +-2\.\d+ V +2\.104 V to 2\.305 V +fail", done.stdout)
    assert "looks like pins 5 and 7 swapped" in done.stderr


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        pytest.param(("--serial", "VN-0001"), "is no serial of cabinet", id="serial"),
        pytest.param(("--serial", "CB-001", "--batch", "../up"), "batch", id="batch"),
        pytest.param(("--serial", "CB-001", "--ambient", "23"), "--ambient", id="ambient"),
    ],
)
def test_what_needs_mending_is_said_before_anything_is_opened(arguments: tuple[str, ...], says: str, tmp_path: Path):
    """Exit code 2 (as an exception here), and no record."""
    done = batchtest(*HOST, *arguments, "--reports", str(tmp_path))
    assert done.returncode == 2
    assert says in done.stderr
    assert list(tmp_path.rglob("*.csv")) == []


def test_a_refusal_for_machines_has_its_error(tmp_path: Path):
    """The same object, with what was refused and why, and exit code 4."""
    done = run(*HOST, "--serial", "CB-002", "--reports", str(tmp_path), "--json")
    assert done.exit_code == 4
    found = json.loads(done.stdout)
    assert (found["outcome"], found["pins"][5]["verdict"]) == ("refused", "fail")
    assert "pin 6 (accessory)" in found["error"]


def test_a_second_station_on_the_bench_is_told_so(tmp_path: Path):
    """Exit code 3, and no record was begun."""
    from batchtest.bench.occupancy import occupied

    with occupied("simulated", tmp_path):
        done = run(*HOST, "--serial", "CB-001", "--reports", str(tmp_path))
    assert done.exit_code == 3
    assert list(tmp_path.rglob("*.part")) == []


def test_check_prints_a_hosts_procedure(monkeypatch: pytest.MonkeyPatch):
    """Every pin with its window, the time for one host, and which swaps no voltage tells."""
    monkeypatch.setenv("COLUMNS", "120")
    done = run("check", "cabinet-breakout", "--bench", "simulated")
    assert done.exit_code == 0
    assert "cabinet on cabinet-breakout, bench simulated" in done.output
    assert "s a host" in done.output
    assert re.search(r"host unused +-50\.00 mV \.\. 50\.00 mV", done.output)
    assert "no voltage tells pins 1 and 3 apart" in done.output
    assert "or no power" not in done.output


def test_check_gives_a_hosts_procedure_to_machines():
    """Under the key "host", with its actions."""
    (found,) = json.loads(run("check", "cabinet-breakout", "--bench", "simulated", "--json").output)
    assert (found["host"], found["fixture"]) == ("cabinet", "cabinet-breakout")
    assert "every pin of the live host" in [action["title"] for action in found["actions"]]


def test_truth_is_of_boards():
    """A host has none to tell."""
    done = run("simulate", "--bench", "simulated", "--fixture", "cabinet-breakout", "--truth", "CB-001")
    assert "are for boards, and 'cabinet-breakout' is a host's" in str(done.exception)


class Told(SilentScreen):
    """A screen whose person does what is asked."""

    def __init__(self) -> None:
        self.asked: list[str] = []

    def ask(self, prompt: str) -> str:
        """Keep what was asked."""
        self.asked.append(prompt)
        return ""


def test_without_a_handler_a_person_plugs_in_and_switches(stand: HostStand):
    """Three prompts, each with the serial: nothing mated, hands off, and off again at the mains."""
    screen, bench = Told(), stand.station.bench
    handler, bench.handler = bench.handler, None
    try:
        plug_of(stand.station, screen)("CB-001")
        switch = switch_of(bench, screen)
        switch.on("CB-001")
        switch.off("CB-001")
    finally:
        bench.handler = handler
    plug, on, off = screen.asked
    assert plug.startswith("CB-001 off at its mains, nothing mated to it: push cabinet-breakout home")
    assert on.startswith("nothing mated to CB-001 but the plug, hands off its pins: switch it on")
    assert off == "switch CB-001 off at its mains, press Enter "


def test_a_handler_that_knows_hosts_does_it(stand: HostStand):
    """Nobody is asked."""
    screen = Told()
    plug_of(stand.station, screen)("CB-001")
    switch = switch_of(stand.station.bench, screen)
    switch.on("CB-001")
    assert stand.live
    switch.off("CB-001")
    assert (stand.live, screen.asked) == (False, [])


def test_what_no_voltage_tells_is_a_sentence_each(stand: HostStand):
    """For the screen."""
    assert cannot_tell(stand.station.procedure.windows)[0] == (
        "no voltage tells pins 1 and 2 apart: swapped, they would read the same"
    )


@pytest.fixture
def stand(tmp_path: Path):
    """A station for hosts."""
    with host_stand(tmp_path, host_setup()) as found:
        yield found
