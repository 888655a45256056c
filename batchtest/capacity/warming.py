"""How much more resistance a source has at thermal rest than in a short pulse, for each watt that it sheds."""

from __future__ import annotations

import math
from collections.abc import Sequence

from batchtest.capacity.fits import usable_points
from batchtest.capacity.lines import through_zero
from batchtest.capacity.model import Difference, Point

#: Times its standard error within which a slope of a handful of points is nothing: Student's t for 4 degrees of
#: freedom, 95 % (JCGM 100:2008, Table G.2).
_TOLD_APART = 2.78


def warming(cold: Sequence[Point], hot: Sequence[Point], open_V: float) -> Difference | None:
    """Rise of the source resistance with the heat in the source, ohm/W: without heat there is no rise.

    Parameters
    ----------
    cold, hot : sweeps by short pulses and at thermal rest; the currents that both held are used.
    open_V : open-circuit voltage; all that is missing from it at a current is lost in the source.

    Returns
    -------
    Slope of a line through zero; `None` where fewer than two currents were held in both sweeps.
    """
    before, after = _means(cold), _means(hot)
    currents = sorted(before.keys() & after.keys())
    if len(currents) < 2:
        return None
    heat_W = [current * (open_V - after[current]) for current in currents]
    rise_ohm = [(before[current] - after[current]) / current for current in currents]
    line = through_zero(heat_W, rise_ohm)
    return Difference(value=line.slope, uncertainty=_TOLD_APART * line.slope_error)


def _means(points: Sequence[Point]) -> dict[float, float]:
    held = usable_points(points)
    found: dict[float, list[float]] = {point.current_A: [] for point in held}
    for point in held:
        found[point.current_A].append(point.voltage.value or 0.0)
    return {current: math.fsum(volts) / len(volts) for current, volts in found.items()}
