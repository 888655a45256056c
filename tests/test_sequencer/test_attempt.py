"""Attempts at single boards on the simulated bench: outcomes, and outputs off on every way out."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from stations import Stand, demo_setup, derive_once, stand

from batchtest.errors import BenchError, InstrumentLost, NotProven, OutputsNotOff, StationError
from batchtest.files.limits import AbortBounds
from batchtest.nouns import Attempt, Line, Measurand, Outcome, Phase, Role
from batchtest.procedure.actions import ApplyLoads, SoftStart
from batchtest.records.record import read_record
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Operating
from batchtest.simulated.log import Kind

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover


def closed_record(station: Stand, attempt: Attempt) -> list[Line]:
    """The lines of a closed record, as they stand on disk."""
    return list(read_record(station.reports / attempt.record).lines)


def stopped_by(station: Stand, serial: str, error: type[BaseException]) -> Attempt:
    """Test a board whose attempt ends the batch by an error; the attempt it left behind."""
    attempts = station.attempts([serial, "VN-0999"])
    attempt = next(attempts)
    with pytest.raises(error):
        next(attempts)
    return attempt


def test_a_good_board_passes_and_everything_planned_is_in_its_record(tmp_path: Path):
    """Every measurement of the procedure has a line on disk, in order; before power what tells the cable comes again.

    The interlock is read again before every step of the soft start and every load point.
    """
    with stand(tmp_path) as station:
        (attempt,) = station.test("VN-0001")
        planned = [m.name for action in station.procedure.gate for m in action.measurements]
        planned += ["id resistor of vent-lead", "pin map spare"]
        for action in station.procedure.powered:
            planned += ["interlock"] * isinstance(action, SoftStart | ApplyLoads)
            planned += [m.name for m in action.measurements]
        assert attempt.outcome is Outcome.PASS
        assert planned == [line.measurement.name for line in closed_record(station, attempt)]
        assert station.outputs_on == []


def test_the_batch_goes_on_after_a_board_that_failed(tmp_path: Path):
    """A bad board is one outcome; the next board is tested."""
    with stand(tmp_path, demo_setup({"VN-0001": "RL5 short", "VN-0002": "R5B open"})) as station:
        outcomes = [attempt.outcome for attempt in station.test("VN-0001", "VN-0002", "VN-0003")]
    assert outcomes == [Outcome.FAIL, Outcome.FAIL, Outcome.PASS]


def test_what_is_not_proven_is_refused_and_ends_the_batch(tmp_path: Path):
    """An open needle: refused before power, whatever the board is."""
    with stand(tmp_path, demo_setup(open_needles=("TP3",))) as station:
        attempt = stopped_by(station, "VN-0001", NotProven)
        assert attempt.outcome is Outcome.REFUSED
        assert re.search(r"contact TP3 .* they do not both touch", attempt.first_cause or "")
        assert not station.was_powered


def test_a_wrong_reference_is_the_benchs_fault_not_the_boards(tmp_path: Path):
    """With a meter path that reads the known voltage wrong no board is judged: the attempt is stopped."""
    setup = demo_setup()
    reference = setup.bench.reference.model_copy(update={"voltage": Decimal(6)})
    expecting = replace(setup, bench=setup.bench.model_copy(update={"reference": reference}))
    with stand(tmp_path, setup) as station:
        station.station = replace(station.station, procedure=derive_once(expecting))
        attempt = stopped_by(station, "VN-0001", BenchError)
        assert not station.running.log.was_on("supply")
    assert attempt.outcome is Outcome.STOPPED
    assert "the known 6.000 V reads 5.000 V; meter or scanner path is at fault" in (attempt.first_cause or "")


def after(phase: Phase, act: Callable[[], None]) -> Callable[[Line], None]:
    """Do something once, at the first line of a phase."""
    waiting = [act]

    def on_line(line: Line) -> None:
        if line.measurement.phase is phase and waiting:
            waiting.pop()()

    return on_line


def _raise(error: BaseException) -> None:
    raise error


MISCHIEF = {
    "interrupt": (lambda: os.kill(os.getpid(), signal.SIGINT), KeyboardInterrupt),
    "bug": (lambda: _raise(ZeroDivisionError("a bug")), ZeroDivisionError),
    "record": (lambda: _raise(StationError("the disk is full")), StationError),
}


@pytest.mark.parametrize("phase", [Phase.GATE, Phase.SOFT_START, Phase.LOAD])
@pytest.mark.parametrize("mischief", MISCHIEF.values(), ids=MISCHIEF)
def test_whatever_breaks_in_mid_board_leaves_the_outputs_off(
    tmp_path: Path, phase: Phase, mischief: tuple[Callable[[], None], type[BaseException]]
):
    """Ctrl-C, a bug or an error at any phase: outputs off, attempt stopped, what was read is in its closed record."""
    act, error = mischief
    with stand(tmp_path) as station:
        station.watcher.on_line = after(phase, act)
        attempt = stopped_by(station, "VN-0001", error)
        assert station.outputs_on == []
        assert attempt.outcome is Outcome.STOPPED
        assert [line.number for line in closed_record(station, attempt)] == list(
            range(1, len(station.watcher.lines) + 1)
        )


def test_an_interrupt_while_switching_off_waits_and_ends_the_batch(tmp_path: Path):
    """Ctrl-C during the last switching off: outputs off, the finished attempt keeps its outcome, no board follows."""
    with stand(tmp_path) as station:
        bench = station.station.bench
        off, last = bench.off, station.procedure.powered[-1].measurements[-1].name

        def interrupted_off() -> None:
            if station.watcher.lines and station.watcher.lines[-1].measurement.name == last:
                os.kill(os.getpid(), signal.SIGINT)
            off()

        bench.off = interrupted_off  # type: ignore[method-assign]
        attempt = stopped_by(station, "VN-0001", KeyboardInterrupt)
        assert (attempt.outcome, station.outputs_on) == (Outcome.PASS, [])
        assert (tmp_path / attempt.record).exists()


def test_a_terminate_signal_switches_off_like_ctrl_c(tmp_path: Path):
    """SIGTERM in mid-board, handled as the command line does: outputs off, attempt stopped."""
    before = signal.signal(signal.SIGTERM, signal.default_int_handler)
    try:
        with stand(tmp_path) as station:
            station.watcher.on_line = after(Phase.LOAD, lambda: os.kill(os.getpid(), signal.SIGTERM))
            attempt = stopped_by(station, "VN-0001", KeyboardInterrupt)
            assert (station.outputs_on, attempt.outcome) == ([], Outcome.STOPPED)
            assert attempt.first_cause == "interrupted: a person or a signal ended the batch"
    finally:
        signal.signal(signal.SIGTERM, before)


def test_a_meter_that_vanishes_under_load_stops_the_attempt_with_the_outputs_off(tmp_path: Path):
    """The bench's fault is never the board's fail, and load and supply go off by their own links."""
    with stand(tmp_path) as station:
        station.watcher.on_line = after(Phase.LOAD, station.running.servers[Role.METER].stop)
        attempt = stopped_by(station, "VN-0001", InstrumentLost)
        assert (station.outputs_on, attempt.outcome) == ([], Outcome.STOPPED)
        assert "meter" in (attempt.first_cause or "")


def test_a_supply_that_vanishes_is_said_to_be_live_and_the_load_goes_off(tmp_path: Path):
    """An output that cannot be read back as off outweighs all else: treat as live."""
    with ExitStack() as stack:
        stack.enter_context(pytest.raises(OutputsNotOff))  # the bench says so once more when it is left
        station = stack.enter_context(stand(tmp_path))
        station.watcher.on_line = after(Phase.LOAD, station.running.servers[Role.SUPPLY].stop)
        attempt = stopped_by(station, "VN-0001", OutputsNotOff)
        assert station.outputs_on == ["supply"]
        assert "supply cannot be read back as off" in (attempt.first_cause or "")


def test_a_rail_beyond_its_abort_bound_is_switched_off_at_once(tmp_path: Path):
    """A crossed bound: nothing is said between the reading and off to load and supply; the reading is in the record."""
    setup = demo_setup()
    rails = setup.limits.rails
    tight = rails["logic"].model_copy(update={"abort": AbortBounds.model_validate({"above": "4.9 V"})})
    limits = setup.limits.model_copy(update={"rails": {**rails, "logic": tight}})
    with stand(tmp_path, replace(setup, limits=limits)) as station:
        (attempt,) = station.test("VN-0001")
        assert (attempt.outcome, station.outputs_on) == (Outcome.FAIL, [])
        assert "is above its abort bound 4.9000 V; all outputs were switched off" in (attempt.first_cause or "")
        (crossed,) = [line for line in attempt.lines if line.measurement.name == "logic @ 24.0 V in"]
        assert crossed.reading.value == pytest.approx(5.0, rel=0.03)
        assert attempt.lines[-1].measurement.phase is Phase.POWER_DOWN
        said = [entry for entry in station.running.log if entry.kind is Kind.COMMAND]
        on = max(number for number, entry in enumerate(said) if entry.text == "OUTP ON")
        off = next(number for number in range(on, len(said)) if said[number].text == "OUTP OFF")
        read = max(number for number in range(off) if said[number].role == "meter")
        again = next(number for number in range(off, len(said)) if said[number].role in ("meter", "scanner"))
        assert said[read].text == "READ?"
        assert {entry.role for entry in said[read + 1 : again]} == {"load", "supply"}
        assert any(entry.text.startswith("INP OFF") for entry in said[read + 1 : again])


def feed(station: Stand, volts: float) -> None:
    """From now on a source that no instrument knows of holds the feed at a voltage."""
    rack = station.running.rack
    solved = rack._solved

    def fed() -> Operating:
        found = solved()
        return replace(found, points={**found.points, "feed": volts})

    rack._solved = fed  # type: ignore[method-assign]
    rack._points["feed"] = Approach(volts, volts, 0.0, 1.0)


@pytest.mark.parametrize(
    ("line", "volts", "message"),
    [
        pytest.param("reference before", 24.0, r"feed: 24\.00 V with the outputs off after 10 s; something", id="fed"),
        pytest.param(
            "residual feed after discharge", 0.03, r"feed: rose from .* to (29|30)\.\d+ mV after the", id="rising"
        ),
        pytest.param(
            "residual feed after discharge", 0.4, r"feed: (399|400)\.\d mV with the outputs off; treat", id="live"
        ),
    ],
)
def test_a_board_that_something_feeds_is_live_and_never_meets_ohms(
    tmp_path: Path, line: str, volts: float, message: str
):
    """A voltage that stays, or comes back after the discharge, is refused before any resistance is read on a point."""

    def meddle(now: Line) -> None:
        if now.measurement.name == line:
            feed(station, volts)

    with stand(tmp_path, demo_setup(transports={"supply": "tcp"})) as station:
        station.watcher.on_line = meddle
        attempt = stopped_by(station, "VN-0001", NotProven)
        assert (attempt.outcome, station.outputs_on) == (Outcome.REFUSED, [])
        assert re.search(message, attempt.first_cause or "")
        ohms = [line for line in attempt.lines if line.measurement.measurand is Measurand.RESISTANCE]
        assert {line.measurement.name for line in ohms} == {"interlock"}


def test_a_serial_seen_again_is_the_next_attempt(tmp_path: Path):
    """Nothing is overwritten: both attempts stand side by side."""
    with stand(tmp_path) as station:
        numbers = [attempt.number for attempt in (*station.test("VN-0001"), *station.test("VN-0001"))]
        assert numbers == [1, 2]
        assert sorted(path.name for path in (tmp_path / "try").glob("*.csv")) == ["VN-0001.1.csv", "VN-0001.2.csv"]
