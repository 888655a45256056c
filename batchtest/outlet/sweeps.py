"""The two sweeps of an outlet: cold, by pulses that warm nothing, and hot, each current until the voltage rests."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from batchtest.files.outlet import Sweep
from batchtest.nouns import Limit, Line, Measurement, Phase, Reading
from batchtest.outlet.drawing import Drawing
from batchtest.outlet.plan import LOOK_S
from batchtest.quantities import show

#: An outlet that is left with less than this share of its open-circuit voltage has collapsed.
COLLAPSED = 0.5


def sweep_cold(drawing: Drawing, sweep: Sweep, currents: Sequence[float], limit: Limit | None) -> bool:
    """Pulse each current up and then down, between two readings of the open circuit, the first judged by `limit`.

    Returns
    -------
    Whether every current was held. Where one was not, nothing more is drawn, and nothing is tried again.
    """
    first = open_circuit(drawing, Phase.COLD, 0, limit=limit)
    held = True
    for index, amperes in enumerate((*currents, *reversed(currents)), start=1):
        way = "up" if index <= len(currents) else "down"
        drawing.bench.clock.sleep(float(sweep.pause))
        measurement = drawing.measurement(Phase.COLD, f"cold, {way}, {show(amperes, 'A', 3)}", amperes, index)
        if not pulse(drawing, sweep, measurement, first):
            held = False
            break
    drawing.bench.clock.sleep(float(sweep.pause))
    open_circuit(drawing, Phase.COLD, 2 * len(currents) + 1, "open circuit, after")
    return held


def open_circuit(
    drawing: Drawing,
    phase: Phase,
    index: int | None = None,
    name: str = "open circuit",
    limit: Limit | None = None,
) -> Line:
    """The outlet with nothing drawn from it."""
    measurement = replace(drawing.measurement(phase, name, 0.0, index), limit=limit)
    return drawing.enter(measurement, drawing.reader.settled(measurement, drawing.since))


def pulse(
    drawing: Drawing,
    sweep: Sweep,
    measurement: Measurement,
    unloaded: Line,
    since: float | None = None,
) -> bool:
    """Draw a measurement's current for the length of a pulse, read at its end; whether it was held.

    Parameters
    ----------
    since : what the record counts the time from, where that is not the beginning of the pulse: a trip before it.
    """
    file = drawing.bench.file
    integration_s = file.meter.readings * float(file.meter.integration) / float(file.mains)
    with drawing.current(measurement.load_A or 0.0):
        drawing.bench.clock.wait_until(drawing.since + max(0.0, float(sweep.pulse) - integration_s))
        reading = drawing.read(measurement, since)
        line = drawing.enter(measurement, reading)
        if not holds(reading, unloaded):
            drawing.enter_drawn(line.measurement)
            return False
    return True


def holds(reading: Reading, unloaded: Line) -> bool:
    """Whether the source held the current: the load drew it, and the voltage is not gone."""
    open_V = unloaded.reading.value
    return reading.regulated and reading.value is not None and open_V is not None and reading.value > COLLAPSED * open_V


def sweep_hot(drawing: Drawing, sweep: Sweep, currents: Sequence[float]) -> bool:
    """Draw each current, rising, until the voltage rests; whether every current was held."""
    unloaded = open_circuit(drawing, Phase.HOT, 0, "hot, open circuit")
    for index, amperes in enumerate(currents, start=1):
        with drawing.current(amperes):
            *_, last = dwell(drawing, sweep, Phase.HOT, index, amperes, unloaded)
            if not holds(last.reading, unloaded):
                drawing.enter_drawn(last.measurement)
                return False
    return True


def dwell(drawing: Drawing, sweep: Sweep, phase: Phase, index: int, amperes: float, unloaded: Line) -> Iterator[Line]:
    """Read a current over and over, until the voltage moves by less than the sweep asks, or its time is over.

    The last reading says by `settled` whether it came to rest.
    """
    clock, began = drawing.bench.clock, drawing.since
    still, within_s = float(sweep.still), float(sweep.within)
    seen: list[tuple[float, float]] = []
    clock.wait_until(began + float(sweep.pulse))
    while True:
        passed_s = clock.now() - began
        when = f"{'hot' if phase is Phase.HOT else 'trip, warm'}, {show(amperes, 'A', 3)}, {passed_s:.1f} s"
        measurement = drawing.measurement(phase, when, amperes, index)
        reading = drawing.read(measurement, began)
        over = passed_s >= float(sweep.longest)
        rested = reading.value is not None and _rests(seen, (passed_s, reading.value), still, within_s)
        line = drawing.enter(measurement, reading if rested else replace(reading, settled=not over and reading.settled))
        yield line
        if rested or over or not holds(reading, unloaded):
            return
        if reading.value is not None:
            seen.append((passed_s, reading.value))
        clock.wait_until(began + passed_s + LOOK_S)


def _rests(seen: Sequence[tuple[float, float]], now: tuple[float, float], still: float, within_s: float) -> bool:
    """Whether the voltage has moved by less than `still` against every reading of the last `within_s`."""
    if not seen or now[0] - seen[0][0] < within_s:
        return False
    return all(abs(now[1] - volts) < still for passed_s, volts in seen if now[0] - passed_s <= within_s + LOOK_S)
