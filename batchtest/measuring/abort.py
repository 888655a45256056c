"""Bounds that leave nothing powered a moment longer: looked at on every raw value, before anything else is done."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from batchtest.bench import Bench
from batchtest.errors import BenchError, InstrumentRefused, OutputsNotOff, SafetyTrip
from batchtest.nouns import Limit, Measurement, Reading
from batchtest.quantities import show


def crossed(values: Sequence[float], bounds: Limit | None, full_scale: float) -> tuple[float, float] | None:
    """The first value beyond a bound, and that bound.

    An over-range value (+-inf) is beyond a bound that lies within the range; beyond a wider bound only a higher range
    can say.

    >>> crossed([5.0, 5.7], Limit(upper=5.6), 10.0)
    (5.7, 5.6)
    """
    if bounds is None:
        return None
    for value in values:
        reach = value if math.isfinite(value) else math.copysign(full_scale, value)
        if bounds.upper is not None and value > bounds.upper and reach >= bounds.upper:
            return value, bounds.upper
        if bounds.lower is not None and value < bounds.lower and reach <= bounds.lower:
            return value, bounds.lower
    return None


def _why_low(bench: Bench) -> BenchError | None:
    """What the bench did that a voltage is too low; asked before switching off, which would hide it and can wait."""
    try:
        bench.confirm()
    except BenchError as error:
        return error
    return None


def trip(
    bench: Bench, measurement: Measurement, found: tuple[float, float], reading: Callable[[float], Reading]
) -> SafetyTrip:
    """Switch everything off at once, and give the error to raise: it names rail, value and bound.

    Parameters
    ----------
    found : the value and the bound that it crossed, base unit.
    reading : makes the reading to be recorded of the value, once the outputs are off.

    Raises
    ------
    OutputsNotOff : an output could not be read back as off.
    InstrumentRefused : the bench is not as it was left, so that the value says nothing of the board.
    """
    value, bound = found
    said = show(value, measurement.unit, 5) if math.isfinite(value) else "over range"
    side = "above" if value > bound else "below"
    message = f"{measurement.name}: {said} is {side} its abort bound {show(bound, measurement.unit, 5)}"
    before = _why_low(bench) if abs(value) < abs(bound) else None
    try:
        bench.off()
    except OutputsNotOff as error:
        raise OutputsNotOff(f"{message}, and {error}") from error
    try:
        bench.confirm()
    except BenchError as error:
        raise InstrumentRefused(f"{message}; all outputs were switched off. But {before or error}") from error
    if before is not None:
        raise InstrumentRefused(f"{message}; all outputs were switched off. But {before}")
    return SafetyTrip(f"{message}; all outputs were switched off", measurement, reading(value))
