"""`batchtest outlet` as its user runs it."""

from __future__ import annotations

import json
import re
import shutil
import signal
from pathlib import Path
from types import SimpleNamespace
from typing import Any, cast

import pytest
from click.testing import CliRunner, Result
from outlet_stands import AMBIENT_C, demo_outlet, planned
from stations import ROOT

from batchtest.capacity.answer import answer_of
from batchtest.capacity.outlet import of_json
from batchtest.commands import program
from batchtest.commands.outlet import permitted
from batchtest.commands.outlet_station import mover_of, plug_of, stopped_at
from batchtest.commands.outlet_view import answer_json, known_lines, print_answer
from batchtest.commands.screen import SilentScreen
from batchtest.errors import SetupError
from batchtest.records.record import read_record

KEPT = ROOT / "tests" / "test_records" / "old" / "3" / "reports" / "outlets" / "CB-001.1.csv"


def run(*arguments: str) -> Result:
    """Run a command in this process."""
    before = signal.getsignal(signal.SIGTERM)
    try:
        return CliRunner().invoke(program, list(arguments))
    finally:
        signal.signal(signal.SIGTERM, before)


@pytest.fixture
def quick(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The demo, with an outlet that is given little time to rest; the work is done there."""
    for name in ("fixtures", "limits"):
        shutil.copytree(ROOT / name, tmp_path / name)
    file = tmp_path / "fixtures" / "outlets" / "cabinet-outlet.toml"
    text = file.read_text()
    text = re.sub(r"(?m)^currents = .*$", 'currents = ["20 mA", "100 mA", "200 mA"]', text)
    text = re.sub(r"(?m)^(still|within|longest) = .*\n", "", text)
    text = text.replace("[sweep]\n", '[sweep]\nstill = "100 mV"\nwithin = "2 s"\nlongest = "20 s"\n')
    file.write_text(text)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def test_an_outlet_is_tested_recorded_and_answered(quick: Path):
    """Exit code 0 whatever the outlet is; one JSON object with answer and budget, and where record and page are."""
    done = run("outlet", "cabinet-outlet", "--bench", "simulated", "--serial", "CB-001", "--json")
    assert (done.exit_code, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["host"], found["serial"], found["attempt"], found["outcome"]) == ("cabinet", "CB-001", 1, "fail")
    assert re.fullmatch(r"Usable to \d+ mA at 50 C, limited by the voltage that is left\.", found["answer"])
    assert found["source_ohm_cold"]["lower"] < found["source_ohm_cold"]["value"] < found["source_ohm_cold"]["upper"]
    assert [each["name"] for each in found["budget"]] == ["display", "soil-sensors", "router"]
    record = quick / found["record"]
    assert record.is_file()
    assert record.with_suffix(".html").is_file()
    assert read_record(record).context.kind == "outlet"


@pytest.mark.parametrize(
    ("arguments", "says"),
    [
        pytest.param(("--serial", "VN-0001"), "is no serial of cabinet", id="serial"),
        pytest.param(("--serial", "CB-001", "--ambient", "23"), "--ambient has no unit", id="ambient"),
        pytest.param(("--serial", "CB-001", "--trip"), "say who of its owners permitted that: --permission", id="trip"),
        pytest.param(
            ("--serial", "CB-001", "--permission", "the caretaker"), "--permission is for a trip test", id="permission"
        ),
        pytest.param(
            ("--serial", "CB-001", "--trip", "--permission", "=1+1"),
            "where a spreadsheet begins a formula",
            id="formula",
        ),
        pytest.param(
            ("--serial", "CB-001", "--trip", "--permission", "the caretaker"),
            "has no [fuse] with a [trip] to test",
            id="no-fuse",
        ),
    ],
)
def test_what_cannot_be_done_is_refused_before_anything_is_opened(
    monkeypatch: pytest.MonkeyPatch, tmp_path: Path, arguments: tuple[str, ...], says: str
):
    """Exit code 2, and what to write instead; nothing was recorded."""
    monkeypatch.chdir(ROOT)
    done = run("outlet", "cabinet-outlet", "--bench", "simulated", *arguments, "--reports", str(tmp_path))
    said = done.stderr + (str(done.exception) if isinstance(done.exception, SetupError) else "")
    assert done.exit_code != 0
    assert says in said
    assert not list(tmp_path.rglob("*.csv"))


def test_a_host_that_is_not_proven_is_refused_after_the_cautions(quick: Path):
    """Exit code 4, whose property it is among the cautions, the stop before anything; no answer is made up."""
    done = run("outlet", "cabinet-outlet", "--bench", "simulated", "--serial", "CB-002")
    assert done.exit_code == 4
    said = done.stdout
    assert "The host is somebody's property" in said
    assert "only licensed or competent persons as local codes say" in said
    assert "stop, in the load and here: 356 mA, by the rating of the series resistor" in said
    assert "Usable to" not in said
    assert "does not have on its pins what its circuit says" in done.stderr


def test_permission_is_kept_as_it_was_given():
    """Without a trip test there is none."""
    assert permitted("  the caretaker, by letter  ", trip=True) == "the caretaker, by letter"
    assert permitted(None, trip=False) is None


def test_the_screen_says_what_was_known_before():
    """The stop with what sets it; who permitted a trip, and why it is done alone."""
    said = list(known_lines(planned("cabinet-outlet-fuse", "the caretaker, by letter of 2 March")))
    assert said[0].startswith("stop, in the load and here: 195 mA, by the hold current of the fuse")
    assert said[1] == "trip test at 1.00 A, permitted by the caretaker, by letter of 2 March"
    assert "tripped alone, on the bench supply" in said[2]


def test_the_answer_is_printed_first_and_the_budget_after_it(capsys: pytest.CaptureFixture[str]):
    """As a person reads it: the sentence, the resistance, who works, what another part would do."""
    record = read_record(KEPT)
    known = of_json(record.context.outlet or {})
    answer = answer_of(known, record.lines, record.context.ambient_C)
    print_answer(answer, known)
    said = capsys.readouterr().out.splitlines()
    assert said[0].startswith("Usable to ")
    assert said[1].startswith("source resistance by short pulses: 15.")
    assert any(re.match(r"router +10\.8 V at 60 mA +works +works +does not work", line) for line in said)
    assert any(line.startswith("as it is") for line in said)
    assert json.loads(json.dumps(answer_json(answer)))["limited_by"] == "the voltage that is left"


def test_a_test_that_got_nowhere_has_no_answer(capsys: pytest.CaptureFixture[str]):
    """No figure is made up from nothing."""
    known = planned("cabinet-outlet").known
    answer = answer_of(known, [], AMBIENT_C)
    print_answer(answer, known)
    assert capsys.readouterr().out.startswith("No answer: fewer than two currents were held at thermal rest.")
    assert answer_json(answer)["usable_A"] is None


def test_a_load_with_a_timer_of_its_own_outlasts_the_longest_dwell():
    """Ten minutes of holding would switch off an input whose timer ends with them."""
    setup = demo_outlet("cabinet-outlet-fuse")
    timed = setup.bench.model_copy(update={"load": setup.bench.load.model_copy(update={"dialect": "load-modes"})})
    protection = stopped_at(timed, setup, planned("cabinet-outlet-fuse")).load.protection
    assert protection.on_timer == 660
    plain = stopped_at(setup.bench, setup, planned("cabinet-outlet-fuse")).load.protection
    assert plain.on_timer is None


def test_a_person_is_asked_where_no_handler_can(monkeypatch: pytest.MonkeyPatch):
    """To push the plug home and wire the load, to take the fuse out, and to put it back once it is cool."""
    asked: list[str] = []
    screen = SilentScreen()
    monkeypatch.setattr(screen, "ask", asked.append)
    bench = cast(Any, SimpleNamespace(handler=None))
    station = cast(Any, SimpleNamespace(bench=bench, setup=demo_outlet()))
    plug_of(station, screen)("CB-001")
    mover = mover_of(bench, screen)
    mover.out("CB-001")
    mover.back("CB-001")
    assert "push cabinet-breakout home in it, and wire load channel 1 to accessory" in asked[0]
    assert "lock it off, take its fuse into the holder" in asked[1]
    assert "let it cool, put it back into CB-001" in asked[2]


def test_check_prints_what_will_be_done_and_what_is_known(monkeypatch: pytest.MonkeyPatch):
    """The map of the host, the sweeps and the hold, with their times; no trip without permission; then the stop."""
    monkeypatch.chdir(ROOT)
    done = run("check", "cabinet-outlet-fuse", "--bench", "simulated")
    assert done.exit_code == 0
    said = done.stdout
    assert said.startswith("outlet of cabinet on cabinet-outlet-fuse, bench simulated:")
    places = [said.index(text) for text in ("host on, nothing mated to it", "cold sweep", "hot sweep", "hold 191 mA")]
    assert places == sorted(places)
    assert "trip" not in said
    assert said.splitlines()[-1].startswith("stop, in the load and here: 195 mA")
