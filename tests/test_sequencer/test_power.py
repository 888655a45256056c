"""From the proof to the power: what happens between the two, and under power, is seen; the bench's own log says so."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import groupby
from pathlib import Path

import pytest
from stations import Stand, stand

from batchtest.errors import BenchError, NotProven
from batchtest.nouns import Attempt, Line, Outcome, Phase, Role
from batchtest.pages.words import shown_dead
from batchtest.proof import proof as room
from batchtest.proof import prove
from batchtest.sequencer import Logbook, Observer, Station
from batchtest.sequencer.attempt import Work
from batchtest.sequencer.batch import run_one
from batchtest.sequencer.power import Hands, power_up
from batchtest.simulated.mishaps import Mishap

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

#: The last reading of the gate.
GATE_ENDS = "position-output"


def refused(station: Stand) -> tuple[Attempt, NotProven]:
    """The attempt that ends the batch, and what it ends it with; everything is truly off."""
    attempts = station.attempts(["VN-0001", "VN-0999"])
    attempt = next(attempts)
    with pytest.raises(NotProven) as found:
        next(attempts)
    assert (attempt.outcome, station.outputs_on) == (Outcome.REFUSED, [])
    return attempt, found.value


def meddle(station: Stand, name: str, act: Callable[[], None]) -> None:
    """Do something once a reading is on the disk, the first time that it is."""
    waiting = [act]

    def on_line(line: Line) -> None:
        if line.measurement.name == name and waiting:
            waiting.pop()()

    station.watcher.on_line = on_line


def open_interlock(station: Stand) -> None:
    """Somebody opens the lid."""
    station.running.rack.interlock_ohms = None


def powered_names(attempt: Attempt) -> list[str]:
    """What was read before the power-down."""
    return [line.measurement.name for line in attempt.lines if line.measurement.phase is not Phase.POWER_DOWN]


def supply(station: Stand) -> list[str]:
    """The supply's output from its first switching on, by the bench's own log: volts, or "off", each change once."""
    found = [entry.text.split()[0] for entry in station.running.log.states("supply")]
    volts = [text for text, _ in groupby(found)]
    return volts[1:] if volts[:1] == ["off"] else volts


def test_a_good_board_is_powered_step_by_step_and_the_interlock_read_before_each(tmp_path: Path):
    """What tells the cable best comes once more before power; the loop before every step and load point."""
    with stand(tmp_path) as station:
        (attempt,) = station.test("VN-0001")
        assert attempt.outcome is Outcome.PASS
        assert supply(station) == ["5", "12", "24", "off"]
    names = [line.measurement.name for line in attempt.lines]
    first = names.index(GATE_ENDS) + 1
    assert names[first : first + 3] == ["id resistor of vent-lead", "pin map spare", "interlock"]
    before = {names[number + 1] for number, name in enumerate(names) if name == "interlock" and number}
    steps = {f"supply current @ {volts} in" for volts in ("5.00 V", "12.0 V", "24.0 V")}
    assert before == steps | {f"feed @ load point {number}" for number in (1, 2, 3)}


@pytest.mark.parametrize("cable", ["mist-lead", "long-lead"])
@pytest.mark.parametrize("by", ["handler", "hand"])
def test_a_cable_changed_after_the_proof_is_refused_before_the_output_goes_on(tmp_path: Path, cable: str, by: str):
    """By the handler's message or past it: what tells the cables apart is read once more, and nothing was ever on."""

    def change() -> None:
        if by == "handler":
            assert station.station.bench.handler is not None
            station.station.bench.handler.fit_cable(cable)
        else:
            with station.running.rack.lock:
                station.running.rack.fit_cable(cable, station.station.bench.clock.now())

    with stand(tmp_path) as station:
        meddle(station, GATE_ENDS, change)
        attempt, error = refused(station)
        assert not station.was_powered
        assert "id resistor of vent-lead: " in str(error)
        assert "it was right a moment ago; the cable has been changed or has come loose" in str(error)
        assert attempt.lines[-1].measurement.phase is Phase.GATE


@pytest.mark.parametrize(
    ("ohms", "state"), [pytest.param(None, "is open", id="open"), pytest.param(0.1, "reads like a bridge", id="bridge")]
)
def test_an_interlock_that_goes_after_the_proof_leaves_all_off(tmp_path: Path, ohms: float | None, state: str):
    """The proof is spent for nothing: no output was ever on."""

    def open_or_bridge() -> None:
        station.running.rack.interlock_ohms = ohms

    with stand(tmp_path) as station:
        meddle(station, GATE_ENDS, open_or_bridge)
        attempt, error = refused(station)
        assert f"the interlock {state}" in str(error)
        assert not station.was_powered
        assert attempt.lines[-1].measurement.name == "interlock"


@pytest.mark.parametrize(
    ("opened_at", "steps"),
    [
        pytest.param("bias @ 5.00 V in", ["5"], id="after-the-first-step"),
        pytest.param("bias @ 12.0 V in", ["5", "12"], id="after-the-second-step"),
        pytest.param("bias @ 24.0 V in", ["5", "12", "24"], id="before-the-loads"),
    ],
)
def test_an_interlock_opened_during_the_soft_start_switches_off_at_once(
    tmp_path: Path, opened_at: str, steps: list[str]
):
    """No further step is taken: off comes next, and nothing is on any more."""
    with stand(tmp_path) as station:
        meddle(station, opened_at, lambda: open_interlock(station))
        attempt, error = refused(station)
        assert error.told_by == ("interlock",)
        assert supply(station) == [*steps, "off"]
        assert not station.running.log.was_on("load")
        assert powered_names(attempt)[-2:] == [opened_at, "interlock"]
        assert shown_dead(attempt.lines)


@pytest.mark.parametrize("point", [1, 2])
def test_an_interlock_opened_between_load_points_switches_off_at_once(tmp_path: Path, point: int):
    """The next load point is not begun: every input of the load and the supply go off, and nothing comes on again."""
    with stand(tmp_path) as station:
        meddle(station, f"supply current @ load point {point}", lambda: open_interlock(station))
        attempt, _ = refused(station)
        assert shown_dead(attempt.lines)
        assert powered_names(attempt)[-2:] == [f"supply current @ load point {point}", "interlock"]
        states = [
            entry for entry in station.running.log.states() if entry.role == "supply" or entry.role.startswith("load")
        ]
        seen = max(number for number, entry in enumerate(states) if entry.text.endswith(" on"))
        assert states[seen].role == ("supply" if point == 1 else "load 3")
        loads = set() if point == 1 else {"load 1", "load 2", "load 3"}
        assert {(entry.role, entry.text) for entry in states[seen + 1 :]} == {
            (role, "off") for role in loads | {"supply"}
        }


def between(act: Callable[[], None], serial: str | None = None, times: int = 1) -> Work[Station]:
    """Work through the gate, do something, and power up with the proof: under another serial, or more than once."""

    def work(station: Station, placed: str, logbook: Logbook, observer: Observer) -> None:
        hands = Hands(station.bench, station.reader, logbook.enter, lambda action: None, logbook.waivers)
        proof = prove(
            station.bench,
            station.reader,
            station.procedure,
            placed,
            memory=station.memory,
            enter=logbook.enter,
            announce=hands.announce,
        )
        assert proof is not None
        act()
        for _ in range(times):
            power_up(proof, serial or placed, station.procedure, hands)
            station.bench.off()

    return work


def powered_with(station: Stand, work: Work[Station]) -> Attempt:
    """The attempt that such work leaves."""
    return run_one(station.station, station.job(), "VN-0001", station.place, station.watcher, work)[0]


def nothing() -> None:
    """Nothing happens."""


def test_a_proof_grown_old_powers_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Six minutes between proof and power, on the clock that no simulation scales: nothing was ever on."""
    later = room.boot_time() + 360.0
    with stand(tmp_path) as station:
        found = powered_with(station, between(lambda: monkeypatch.setattr(room, "boot_time", lambda: later)))
        assert (found.outcome, station.was_powered) == (Outcome.REFUSED, False)
        assert re.search(r"the proof of VN-0001 is 3[56]\d s old, its life is 300 s", found.first_cause or "")


def test_a_proof_powers_no_other_board(tmp_path: Path):
    """The board in the nest was proven, another serial is to be powered: nothing was ever on."""
    with stand(tmp_path) as station:
        found = powered_with(station, between(nothing, serial="VN-0002"))
        assert (found.outcome, station.was_powered) == (Outcome.REFUSED, False)
        assert found.first_cause == "the proof is for VN-0001, not for VN-0002; prove again"


def test_a_proof_powers_its_board_once(tmp_path: Path):
    """Switched off, the same board is not powered again by the same proof."""
    with stand(tmp_path) as station:
        found = powered_with(station, between(nothing, times=2))
        assert (found.outcome, station.outputs_on) == (Outcome.REFUSED, [])
        assert found.first_cause == "the proof of VN-0001 was used once already; prove again"
        assert supply(station) == ["5", "12", "24", "off"]


@pytest.mark.parametrize("lost_at", ["pin map spare", GATE_ENDS])
def test_a_link_lost_since_the_gate_began_powers_nothing(tmp_path: Path, lost_at: str):
    """A reply that never came: although whoever waited for it caught the error, the proof is dead."""

    def lose() -> None:
        station.running.servers[Role.SUPPLY].mishaps.append(Mishap(drop=True))
        with pytest.raises(BenchError):
            station.station.bench.supply.is_on()

    with stand(tmp_path) as station:
        meddle(station, lost_at, lose)
        _, error = refused(station)
        assert "contact with an instrument was lost since VN-0001 was proven; prove again" in str(error)
        assert not station.was_powered
