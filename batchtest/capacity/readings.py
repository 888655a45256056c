"""From the lines of a record to the points of a sweep, and to resistance over time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batchtest.capacity.model import Point, Tripped, Warm
from batchtest.nouns import Line, Measurand, Phase

#: Phases in which the outlet is loaded.
LOADED = (Phase.COLD, Phase.HOT, Phase.HOLD, Phase.TRIP)
#: A line cycle, s: of 50 Hz. At 60 Hz the pulses look a little longer than they are, all alike.
LINE_CYCLE_S = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment:
    """What stood in series with the open circuit at a moment: seconds since the test began, ohm, and the test it is of.

    `since_s` is the time since what last changed: the current, or the trip; `index` counts the
    currents of a sweep, and is `None` for a reading that is of none.
    """

    at_s: float
    since_s: float
    ohm: float
    current_A: float
    phase: Phase
    index: int | None


def sweep(lines: Sequence[Line], phase: Phase) -> tuple[Point, ...]:
    """The points of a sweep in the order they were taken; of a current that was read over and over, the last reading.

    Currents rise until the largest one was read, and fall from there.
    """
    last: dict[tuple[int | None, float], Line] = {}
    for line in voltages(lines, phase):
        last[line.measurement.load_point, _amperes(line)] = line
    points, drawn = list(last.values()), _drawn(lines, phase)
    top = max((_amperes(line) for line in points), default=0.0)
    reached, found = False, []
    for line in points:
        amperes = _amperes(line)
        found.append(
            Point(
                current_A=amperes,
                voltage=line.reading,
                rising=not reached,
                drawn_A=drawn.get((line.measurement.load_point, amperes)),
                at_s=line.elapsed_s - _window_s(line) / 2,
                on_s=line.reading.settle_s + _window_s(line) / 2,
                pulse_s=line.reading.settle_s + _window_s(line),
            )
        )
        reached = reached or amperes == top
    return tuple(found)


def open_circuit_V(points: Sequence[Point]) -> float | None:
    """The voltage with nothing drawn, V, as it was first read."""
    return next((point.voltage.value for point in points if point.current_A == 0), None)


def resistances(lines: Sequence[Line]) -> Iterator[Moment]:
    """What stood between open circuit and outlet at every held reading with a current drawn, in the order of time."""
    unloaded_V: float | None = None
    for line in lines:
        measurement, reading = line.measurement, line.reading
        if measurement.phase not in LOADED or measurement.measurand is not Measurand.VOLTAGE or reading.value is None:
            continue
        amperes = _amperes(line)
        if amperes == 0:
            unloaded_V = reading.value
        elif unloaded_V is not None and reading.regulated:
            yield Moment(
                at_s=line.elapsed_s,
                since_s=reading.settle_s,
                ohm=(unloaded_V - reading.value) / amperes,
                current_A=amperes,
                phase=measurement.phase,
                index=measurement.load_point,
            )


def warm_fuse(lines: Sequence[Line]) -> tuple[Warm, ...]:
    """The fuse of a trip test before its trip: at each current that was held to rest, the last reading."""
    rested = {
        moment.index: Warm(current_A=moment.current_A, ohm=moment.ohm)
        for moment in resistances(lines)
        if moment.phase is Phase.TRIP and moment.index is not None
    }
    return tuple(rested.values())


def tripped_fuse(lines: Sequence[Line]) -> Tripped | None:
    """The tripped fuse at rest, alone: the open-circuit voltage less what is left at the load, and what still flows."""
    unloaded_V = left_V = None
    for line in lines:
        measurement, reading = line.measurement, line.reading
        if measurement.phase is not Phase.TRIP or reading.value is None:
            continue
        if measurement.measurand is Measurand.LOAD_CURRENT and unloaded_V is not None and left_V is not None:
            return Tripped(voltage_V=unloaded_V - left_V, current_A=reading.value)
        if measurement.measurand is Measurand.VOLTAGE:
            unloaded_V = reading.value if _amperes(line) == 0 else unloaded_V
            left_V = None if reading.regulated else reading.value
    return None


def voltages(lines: Sequence[Line], phase: Phase) -> Iterator[Line]:
    """The readings of the outlet's voltage in one phase."""
    for line in lines:
        if line.measurement.phase is phase and line.measurement.measurand is Measurand.VOLTAGE:
            yield line


def _drawn(lines: Sequence[Line], phase: Phase) -> dict[tuple[int | None, float], float]:
    return {
        (line.measurement.load_point, _amperes(line)): line.reading.value
        for line in lines
        if line.measurement.phase is phase
        and line.measurement.measurand is Measurand.LOAD_CURRENT
        and line.reading.value is not None
    }


def _window_s(line: Line) -> float:
    """How long a voltage was integrated, s."""
    return line.reading.count * line.reading.nplc * LINE_CYCLE_S


def _amperes(line: Line) -> float:
    return line.measurement.load_A or 0.0
