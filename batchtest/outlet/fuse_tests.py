"""The tests of a resettable fuse: that it holds, that it trips in time, and what it is like afterwards."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from batchtest.bench import Bench
from batchtest.errors import BenchError, SafetyTrip
from batchtest.files.outlet import Hold, Sweep, Trip
from batchtest.nouns import Limit, Line, Measurand, Measurement, Phase, Reading
from batchtest.outlet.drawing import Drawing
from batchtest.outlet.plan import FIRST_AFTER_S, HOLD_LOOK_S
from batchtest.outlet.sweeps import dwell, holds, open_circuit, pulse
from batchtest.quantities import show

#: A fuse has tripped when less than this share of what the load was set to flows (own choice).
TRIPPED = 0.5
#: A supply in its limit would do the fuse's work: it is given so many times the current of the test.
SUPPLY_SPARE = 1.25


@dataclass(frozen=True, slots=True)
class Followed:
    """How the resistance of a fuse is read: by a pulse at `amperes`, which warms it little, and at rest at `warm`.

    `cooling_s` is how long it takes to cool from there.
    """

    sweep: Sweep
    amperes: float
    warm: tuple[float, ...]
    cooling_s: float


def hold_fuse(drawing: Drawing, hold: Hold, amperes: float, followed: Followed) -> bool:
    """Draw what the fuse must hold, for as long as the file asks; then let it cool, and read its resistance again.

    Returns
    -------
    Whether it held.
    """
    unloaded = open_circuit(drawing, Phase.HOLD, name="hold, open circuit")
    held = True
    with drawing.current(amperes):
        began = drawing.since
        for passed_s in _looks(drawing, float(hold.time), HOLD_LOOK_S):
            name = f"hold, {show(amperes, 'A', 3)}, {passed_s:.0f} s"
            measurement = drawing.measurement(Phase.HOLD, name, amperes)
            line = drawing.enter(measurement, drawing.read(measurement, began))
            held = holds(line.reading, unloaded)
            if not held:
                drawing.enter_drawn(line.measurement)
                break
    drawing.bench.clock.sleep(float(hold.cooling))
    cold_resistance(drawing, Phase.HOLD, "hold, cooled", followed)
    return held


def trip_fuse(drawing: Drawing, trip: Trip, amperes: float, followed: Followed, limit: Limit | None) -> None:
    """Draw a stated multiple of hold until the fuse trips; then off, and its resistance with the time since the trip.

    Before it the fuse is held at currents that it need not mind, and after the trip for a while: its heat, warm and
    tripped, tells from which current on it trips.

    Parameters
    ----------
    limit : the longest that it may take to trip, s.

    Raises
    ------
    SafetyTrip : it did not trip in time; the load is off.
    """
    unloaded = open_circuit(drawing, Phase.TRIP, name="trip, open circuit")
    cold_resistance(drawing, Phase.TRIP, "trip, before", followed)
    for index, warm_A in enumerate(followed.warm, start=1):
        with drawing.current(warm_A):
            list(dwell(drawing, followed.sweep, Phase.TRIP, index, warm_A, unloaded))
    drawing.bench.clock.sleep(followed.cooling_s)
    with drawing.current(amperes):
        began = drawing.since
        trip_s = _wait_for_trip(drawing, trip, amperes, unloaded, limit)
        drawing.bench.clock.sleep(float(followed.sweep.within))
        state = drawing.measurement(Phase.TRIP, "trip, tripped", amperes)
        drawing.enter(state, drawing.read(state, began + trip_s))
        drawing.enter_drawn(state)
    tripped_at = began + trip_s
    for after_s in _doublings(float(trip.after)):
        drawing.bench.clock.wait_until(tripped_at + after_s)
        cold_resistance(drawing, Phase.TRIP, f"trip, {after_s:.0f} s after", followed, tripped_at)


def cold_resistance(drawing: Drawing, phase: Phase, when: str, followed: Followed, since: float | None = None) -> None:
    """The open circuit and one pulse: source resistance is what the voltage falls by, over the current.

    Parameters
    ----------
    since : moment of the trip, from which the record counts the time of this resistance.
    """
    unloaded = open_circuit(drawing, phase, name=f"{when}, open circuit")
    measurement = drawing.measurement(phase, f"{when}, {show(followed.amperes, 'A', 3)}", followed.amperes)
    pulse(drawing, followed.sweep, measurement, unloaded, since)


def _wait_for_trip(drawing: Drawing, trip: Trip, amperes: float, unloaded: Line, limit: Limit | None) -> float:
    """Read as fast as the bench can until the load cannot draw half of its current; how long that took, s."""
    bench, began, before_s = drawing.bench, drawing.since, 0.0
    while True:
        passed_s = bench.clock.now() - began
        measurement = drawing.measurement(Phase.TRIP, f"trip, {show(amperes, 'A', 3)}, {passed_s:.2f} s", amperes)
        line = drawing.enter(measurement, drawing.read(measurement, began))
        if not holds(line.reading, unloaded) and _has_tripped(bench, drawing.channel, amperes):
            drawing.enter(_time_to_trip(measurement, limit), _between(before_s, bench.clock.now() - began))
            return passed_s
        if passed_s > float(trip.longest):
            raise SafetyTrip(
                f"the fuse did not trip within {show(passed_s, 's', 3)} at {show(amperes, 'A', 3)}; switched off"
            )
        before_s = passed_s


def _has_tripped(bench: Bench, channel: int, amperes: float) -> bool:
    return bench.load.measured(channel).amperes < TRIPPED * amperes


def _time_to_trip(measurement: Measurement, limit: Limit | None) -> Measurement:
    return replace(
        measurement,
        name=f"trip, time to trip at {show(measurement.load_A, 'A', 3)}",
        measurand=Measurand.TIME_TO_TRIP,
        unit="s",
        range=0.0,
        limit=limit,
        abort=None,
    )


def _between(before_s: float, after_s: float) -> Reading:
    """It tripped after the one reading and before the other."""
    return Reading(value=(before_s + after_s) / 2, unit="s", count=1, uncertainty=(after_s - before_s) / 2)


def _looks(drawing: Drawing, seconds: float, every_s: float) -> Iterator[float]:
    """The moments of a dwell at which it is read, its end included: seconds since it began."""
    began, passed_s = drawing.since, 0.0
    while True:
        yield passed_s
        if passed_s >= seconds:
            return
        passed_s = min(passed_s + every_s, seconds)
        drawing.bench.clock.wait_until(began + passed_s)


def _doublings(last_s: float) -> Iterator[float]:
    after_s = FIRST_AFTER_S
    while after_s < last_s:
        yield after_s
        after_s *= 2
    yield last_s


@contextmanager
def supplied(bench: Bench, volts: float, amperes: float) -> Iterator[None]:
    """The bench supply on, behind a fuse that is alone in its holder; off, and read back, on every way out.

    Raises
    ------
    BenchError : it is in its current limit with nothing drawn: something is wired wrong.
    """
    bench.supply.set(volts, SUPPLY_SPARE * amperes)
    try:
        bench.supply.on()
        bench.clock.sleep(0.2)
        if bench.supply.measured().limiting:
            raise BenchError("the supply is in its current limit with nothing drawn; look at the wires of the holder")
        yield
    finally:
        bench.load.off()
        bench.supply.off()
