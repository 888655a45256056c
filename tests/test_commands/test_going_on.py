"""A batch goes on: by --resume after it has ended, or at once when a person has mended the bench."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from datetime import date
from decimal import Decimal
from pathlib import Path

import pytest
from click.testing import CliRunner
from stations import ROOT, Stand, demo_setup, stand
from test_records.waivers import a_waiver

from batchtest.commands import program
from batchtest.commands.boards import Wanted, _Batch
from batchtest.commands.going_on import brought_back, done_already
from batchtest.commands.readiness import require_ready
from batchtest.commands.retests import Answer
from batchtest.commands.screen import PlainScreen
from batchtest.errors import BenchError, InstrumentReplyError, SetupError
from batchtest.files.bench_faults import BenchFault
from batchtest.nouns import Outcome, Role
from batchtest.sequencer import Told


class Person(PlainScreen):
    """A screen in front of a person who answers with these lines."""

    def __init__(self, *answers: str) -> None:
        super().__init__(sys.stdout)
        self.answers = list(answers)

    def ask(self, prompt: str) -> str:
        """Say the prompt, and give the next answer."""
        print(prompt)
        return self.answers.pop(0)


def garbage(station: Stand, at: int) -> None:
    """Let the meter answer one READ? with noise."""
    fault = BenchFault(role="meter", kind="garbage", message="READ?", at=at)
    station.running.instruments.by_role()[Role.METER].faults.add(fault)


def batch(station: Stand, *serials: str, screen: PlainScreen) -> _Batch:
    """A batch of these serials on a station, in front of a screen."""
    wanted = Wanted(
        batch="try",
        serials=list(serials),
        operator="tester",
        ambient=None,
        told=Told(),
        again=Answer(),
        reports=station.reports,
        strict=False,
        as_json=False,
        causes=False,
    )
    made = _Batch(station.station.setup, wanted)
    made.screen = screen
    return made


def test_the_person_mends_the_bench_and_the_board_is_tested_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """The stopped attempt stays in the record beside the new one, and the batch goes on after it."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    with stand(tmp_path) as station:
        work = batch(station, "VN-0001", "VN-0002", screen=Person(""))
        garbage(station, 40)
        work.work(station.station, station.job())
    found = [(attempt.serial, attempt.number, attempt.outcome) for attempt in work.attempts]
    assert found == [
        ("VN-0001", 1, Outcome.STOPPED),
        ("VN-0001", 2, Outcome.PASS),
        ("VN-0002", 1, Outcome.PASS),
    ]
    said = capsys.readouterr().out
    assert "stopped: meter: 'READ?'" in said
    assert "mend it, then Enter: VN-0001 is tested anew" in said


def test_without_a_person_the_batch_ends_where_the_bench_failed(tmp_path: Path) -> None:
    """Nobody is waited for."""
    with stand(tmp_path) as station:
        work = batch(station, "VN-0001", "VN-0002", screen=Person())
        garbage(station, 40)
        with pytest.raises(InstrumentReplyError, match="is not a number"):
            work.work(station.station, station.job())
        assert [attempt.serial for attempt in work.attempts] == ["VN-0001"]


def test_an_instrument_that_is_still_away_is_asked_for_again(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each try says what is missing, and a person can end it."""
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    setup = demo_setup()
    hasty = setup.bench.meter.model_copy(update={"open": Decimal("0.1")})
    with stand(tmp_path, replace(setup, bench=setup.bench.model_copy(update={"meter": hasty}))) as station:
        station.running.servers[Role.METER].stop()
        lost = BenchError("meter: gone")
        assert not brought_back(station.station.bench, lost, "VN-0001", Person("", "end"))
    assert "stopped: meter: lost, and cannot be reached anew" in capsys.readouterr().out


def test_done_is_what_tells_of_the_board(tmp_path: Path) -> None:
    """Passed and failed boards are done; one whose attempt was stopped is not, nor is one that never came."""
    with stand(tmp_path, demo_setup({"VN-0002": "RL5 short"})) as station:
        station.test("VN-0001", "VN-0002")
        garbage(station, 1)
        next(station.attempts(["VN-0003"]))
    serials = [f"VN-000{number}" for number in range(1, 5)]
    assert done_already(tmp_path / "try", serials) == ["VN-0001", "VN-0002"]
    assert done_already(tmp_path / "other", serials) == []


def test_resume_leaves_out_what_is_done(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The same serials again: those that are done are named, and not tested; none is left to test here."""
    with stand(tmp_path, demo_setup({"VN-0002": "RL5 short"})) as station:
        station.test("VN-0001", "VN-0002")
    monkeypatch.chdir(ROOT)
    arguments = [
        "boards",
        "vent-nest",
        "--bench",
        "simulated",
        "--batch",
        "try",
        "--reports",
        str(tmp_path),
        "--resume",
    ]
    done = CliRunner().invoke(program, [*arguments, "--serials", "VN-0001..VN-0002", "--json"])
    assert done.exit_code == 0
    found = json.loads(done.stdout)
    assert (found["attempts"], found["skipped"]) == ([], ["VN-0001", "VN-0002"])


def test_resume_needs_the_serials(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Typed serials have no list to go on in."""
    monkeypatch.chdir(ROOT)
    arguments = [
        "boards",
        "vent-nest",
        "--bench",
        "simulated",
        "--batch",
        "try",
        "--reports",
        str(tmp_path),
        "--resume",
    ]
    done = CliRunner().invoke(program, arguments)
    assert isinstance(done.exception, SetupError)
    assert "name them by --serials, as before" in str(done.exception)


def test_what_cannot_be_believed_begins_no_batch_unless_two_people_say_so(tmp_path: Path) -> None:
    """Out of date and cold: both are told, each with its cure; a waiver excuses what it names."""
    with stand(tmp_path) as station:
        bench = station.station.bench
        meter = bench.file.meter.model_copy(update={"calibrated": date(2025, 1, 1), "due": date(2026, 1, 1)})
        bench.file = bench.file.model_copy(update={"meter": meter})
        bench.identities = tuple(
            replace(known, on_for_s=600.0) if known.role is Role.METER else known for known in bench.identities
        )
        with pytest.raises(SetupError) as refused:
            require_ready(bench, (), date(2026, 1, 3))
        assert str(refused.value).splitlines() == [
            "meter: its calibration is out of date by 2 d; have it calibrated and write the new dates, "
            "or have two people waive 'calibration of meter'",
            "meter: still warming up; start again in 20 min, or have two people waive 'warm-up of meter'",
        ]
        both = replace(a_waiver(), readings=("calibration of meter", "warm-up of meter"))
        require_ready(bench, (both,), date(2026, 1, 3))
