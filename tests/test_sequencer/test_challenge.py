"""The challenge: a bench passes that refuses a wrong cable by its name, and no bench that is blind, or refuses all."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from stations import Stand, demo_setup, derive_once, stand

from batchtest.errors import BenchError
from batchtest.nouns import Challenge, Outcome, Role
from batchtest.records.challenge import last_challenge
from batchtest.records.record import read_record
from batchtest.sequencer import challenge as room
from batchtest.sequencer import run_challenge
from batchtest.simulated.mishaps import Mishap

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover


def challenge(station: Stand, wrong: str = "mist-lead") -> Challenge:
    """Challenge the bench of a station; its handler does what is asked for."""
    handler = station.station.bench.handler
    assert handler is not None
    found = run_challenge(
        station.station, station.job(), wrong, fit=handler.fit_cable, place=station.place, observer=station.watcher
    )
    assert not station.was_powered
    return found


@pytest.mark.parametrize(
    ("nest", "wrong", "told_by"),
    [
        pytest.param("vent-nest", "mist-lead", "pin map spare", id="vent-mist"),
        pytest.param("vent-nest", "long-lead", "id resistor of vent-lead", id="vent-long"),
        pytest.param("mist-nest", "vent-lead", "id resistor of mist-lead", id="mist-vent"),
    ],
)
def test_a_good_bench_passes_and_powers_nothing(tmp_path: Path, nest: str, wrong: str, told_by: str):
    """The wrong cable is refused by its name from the reading that tells it, the right one taken, both on record."""
    with stand(tmp_path, demo_setup(nest=nest)) as station:
        found, own = challenge(station, wrong), station.station.setup.fixture.cable
        assert (found.passed, found.cable, found.wrong, found.told_by) == (True, own, wrong, told_by)
        assert found.why == f"{wrong} was refused by its name from {told_by}, and {own} accepted after it"
        assert last_challenge(tmp_path, station.station.setup) == found
        first, second = (read_record(tmp_path / name) for name in found.records)
        assert [first.closing.outcome, second.closing.outcome] == [Outcome.REFUSED, Outcome.PASS]
        assert {first.context.batch, second.context.batch} == {"challenges"}
        fitted = [entry.text for entry in station.running.log.states("cable")]
        assert fitted == [own, wrong, own]


def test_the_batch_after_it_is_tested_with_the_right_cable(tmp_path: Path):
    """What the challenge knew of the cable is not carried on, and the board passes."""
    with stand(tmp_path) as station:
        station.station.memory.proven = True
        challenge(station)
        assert [attempt.outcome for attempt in station.test("VN-0001")] == [Outcome.PASS]


@contextmanager
def blind(folder: Path) -> Iterator[Stand]:
    """The wrong cable never truly comes: as on a bench that reads the same whatever is fitted."""
    with stand(folder) as station:
        rack = station.running.rack
        fit = rack.fit_cable

        def never(asked: str, now: float) -> None:
            fit("vent-lead", now)
            rack.cable_asked = asked

        rack.fit_cable = never  # type: ignore[method-assign]
        yield station


@contextmanager
def spoilt(folder: Path, spoil: Callable[[Stand], None] = lambda station: None, **simulation: Any) -> Iterator[Stand]:
    """A bench that is spoilt from the start."""
    with stand(folder, demo_setup(**simulation)) as station:
        spoil(station)
        yield station


def open_interlock(station: Stand) -> None:
    """The loop stays open."""
    station.running.rack.interlock_ohms = None


@pytest.mark.parametrize(
    ("bench", "why"),
    [
        pytest.param(
            blind, r"^mist-lead was fitted and not refused: this bench would power a wrong cable$", id="blind-gate"
        ),
        pytest.param(
            lambda folder: spoilt(folder, open_needles=("host.8",)),
            r"^mist-lead was fitted and refused, but not by its name: contact host\.8",
            id="dead-needle",
        ),
        pytest.param(
            lambda folder: spoilt(folder, open_interlock),
            r"^mist-lead was fitted and refused, but not by its name: the interlock is open",
            id="refuses-everything",
        ),
        pytest.param(
            lambda folder: spoilt(folder, cable="long-lead"),
            r"^mist-lead was refused as it must be, but so was vent-lead after it: the cable reads like long-lead",
            id="wrong-in-the-drawer",
        ),
        pytest.param(
            lambda folder: spoilt(folder, cable="mist-lead"),
            r"^mist-lead was refused as it must be, but so was vent-lead after it: the cable reads like mist-lead",
            id="the-same-in-both-drawers",
        ),
    ],
)
def test_a_bench_that_cannot_be_trusted_fails(tmp_path: Path, bench: Callable[[Path], Any], why: str):
    """Blind, or refusing whatever comes: it has not passed, the file says so, and nothing was powered."""
    with bench(tmp_path) as station:
        found = challenge(station)
        assert not found.passed
        assert re.search(why, found.why)
        last = last_challenge(tmp_path, station.station.setup)
        assert last is not None
        assert not last.passed


def test_the_right_name_from_another_reading_is_not_enough(tmp_path: Path):
    """What must tell the cable did not: the gate's best reading is blind."""
    with stand(tmp_path) as station:
        procedure = station.procedure
        signature = procedure.suspects.signature
        other = next(pin for pin in signature.readings if pin.name == "pin map feed")
        suspects = replace(
            procedure.suspects, signature=replace(signature, best={**signature.best, "mist-lead": other})
        )
        station.station = replace(station.station, procedure=replace(procedure, suspects=suspects))
        found = challenge(station)
        assert not found.passed
        assert found.why.startswith(
            "mist-lead was refused by its name, but not from pin map feed, which must tell it: "
        )


def test_a_golden_board_that_fails_proves_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The right cable was not refused, but nothing was accepted either."""
    monkeypatch.setattr(room, "GOLDEN", "VN-0009")
    with stand(tmp_path, demo_setup({"VN-0009": "RL5 short"})) as station:
        found = challenge(station)
        assert not found.passed
        assert found.why.startswith(
            "mist-lead was refused as it must be, but the golden board failed with vent-lead: logic-short: "
        )


@pytest.mark.parametrize("which", [0, 1], ids=["with-the-wrong-cable", "with-the-right-one"])
def test_a_bench_at_fault_leaves_no_challenge(tmp_path: Path, which: int):
    """A reply that is cut: what stopped it is raised, and the last challenge is what it was."""
    with stand(tmp_path) as station:
        lines = sum(len(action.measurements) for action in derive_once(demo_setup()).gate[:-1])
        station.station.bench.meter.link._reply_s = 0.05

        def cut(line: object) -> None:
            if len(station.watcher.lines) == (lines * which) + 3:
                station.running.servers[Role.METER].mishaps.append(Mishap(no_ending=True))

        station.watcher.on_line = cut
        with pytest.raises(BenchError, match="meter: "):
            challenge(station)
        assert last_challenge(tmp_path, station.station.setup) is None
        assert not station.was_powered
