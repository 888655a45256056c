"""Every way out of a powered board: off, and measured; only a measurement says "safe to disconnect"."""

from __future__ import annotations

import os
import signal
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from stations import Stand, demo_setup, stand

from batchtest.bench.guard import PATIENCE_S, ProcessGuard
from batchtest.errors import StationError
from batchtest.nouns import Attempt, Line, Outcome, Phase, Role
from batchtest.pages.words import safety

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

SAFE = "safe to disconnect, by measurement"
LIVE = "DANGER: No reading shows that the board was dead at the end. Treat it as live until you have measured it."


def left_by(station: Stand, act: Callable[[], None], name: str = "supply current @ load point 1") -> Attempt:
    """Do something once a reading is on the disk; the attempt that was left behind."""
    waiting = [act]

    def on_line(line: Line) -> None:
        if line.measurement.name == name and waiting:
            waiting.pop()()

    station.watcher.on_line = on_line
    return next(station.attempts(["VN-0001"]))


def fail(error: BaseException) -> Callable[[], None]:
    """What raises an error."""

    def act() -> None:
        raise error

    return act


def signalled(number: signal.Signals) -> Callable[[], None]:
    """What sends a signal to this process, which takes it as the command line does."""

    def act() -> None:
        before = signal.signal(number, signal.default_int_handler)
        try:
            os.kill(os.getpid(), number)
        finally:
            signal.signal(number, before)

    return act


@pytest.mark.parametrize(
    "act",
    [
        pytest.param(signalled(signal.SIGINT), id="ctrl-c"),
        pytest.param(signalled(signal.SIGHUP), id="terminal-closed"),
        pytest.param(fail(ZeroDivisionError("a bug")), id="bug"),
        pytest.param(fail(StationError("the disk was full for a moment")), id="error"),
    ],
)
def test_what_ends_a_powered_board_leaves_it_measured(tmp_path: Path, act: Callable[[], None]):
    """Off, discharged and read, between two right readings of the known voltage, as at a good end."""
    with stand(tmp_path) as station:
        attempt = left_by(station, act)
        assert (attempt.outcome, station.outputs_on) == (Outcome.STOPPED, [])
        assert safety(attempt.outcome, attempt.lines) == SAFE
        names = [line.measurement.name for line in attempt.lines if line.measurement.phase is Phase.POWER_DOWN]
        assert (names[0], names[-1]) == ("reference before the last look", "reference after it")


def test_a_good_board_is_shown_safe(tmp_path: Path):
    """The end of each board that passes."""
    with stand(tmp_path) as station:
        (attempt,) = station.test("VN-0001")
        assert safety(attempt.outcome, attempt.lines) == SAFE


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("supply current @ load point 1", id="under-power"),
        pytest.param("residual feed after power-down", id="in-the-last-look"),
    ],
)
@pytest.mark.parametrize("role", [Role.METER, Role.SCANNER])
def test_a_bench_that_cannot_measure_any_more_says_treat_as_live(tmp_path: Path, role: Role, name: str):
    """Outputs off and read back are not enough; nor are some of the points, or all without the known voltage after."""
    with stand(tmp_path) as station:
        attempt = left_by(station, station.running.servers[role].stop, name)
        assert (attempt.outcome, station.outputs_on) == (Outcome.STOPPED, [])
        assert safety(attempt.outcome, attempt.lines) == LIVE


def test_a_second_ctrl_c_ends_the_measuring_and_says_treat_as_live(tmp_path: Path):
    """It does not end the switching off."""
    with stand(tmp_path) as station:
        bench, close = station.station.bench, station.station.bench.scanner.open_all

        def impatient() -> None:
            bench.scanner.open_all = close  # type: ignore[method-assign]
            raise KeyboardInterrupt

        def first() -> None:
            bench.scanner.open_all = impatient  # type: ignore[method-assign]
            raise KeyboardInterrupt

        attempt = left_by(station, first)
        assert (attempt.outcome, station.outputs_on) == (Outcome.STOPPED, [])
        assert safety(attempt.outcome, attempt.lines) == LIVE


def test_a_meter_that_reads_nothing_but_zero_shows_nobody_safe(tmp_path: Path):
    """Zero at every point, and at the known voltage too: the bench is at fault, and the board counts as live."""
    with stand(tmp_path) as station:
        wiring = station.running.instruments.meter._wiring
        attempt = left_by(station, lambda: setattr(wiring, "_reference_V", 0.0), "supply current @ load point 3")
        assert attempt.outcome is Outcome.STOPPED
        assert "reference before the last look: the known 5.000 V reads" in (attempt.first_cause or "")
        assert safety(attempt.outcome, attempt.lines) == LIVE


def test_a_guardian_that_acts_under_power_stops_the_attempt(tmp_path: Path):
    """The working thread hung and went on: no reading of the dead board is judged, and it is measured to be safe."""

    def hang() -> None:
        guard = station.station.bench.guard
        assert isinstance(guard, ProcessGuard)
        guard.promise(-PATIENCE_S)
        deadline = time.monotonic() + 20
        while station.outputs_on:
            assert time.monotonic() < deadline
            time.sleep(0.01)
        time.sleep(0.1)  # the guardian reads back before it tells

    with stand(tmp_path, demo_setup(transport="tcp"), guarded=True) as station:
        attempt = left_by(station, hang, "logic @ load point 2")
        assert (attempt.outcome, station.outputs_on) == (Outcome.STOPPED, [])
        assert (attempt.first_cause or "").startswith("the guardian switched the outputs off: the station (process ")
        powered = [line.measurement.name for line in attempt.lines if line.measurement.phase is Phase.LOAD]
        assert powered[-1] == "logic @ load point 2"
        assert safety(attempt.outcome, attempt.lines) == SAFE
