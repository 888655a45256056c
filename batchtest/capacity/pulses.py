"""What short pulses warm after all, taken out again: the voltages of a sweep as they would be without any heat.

A pulse warms what is in series with the outlet by I^2 R t, and that is not all gone when the next one comes. With the
heat H of its own and all former pulses, in A^2 s, a resistance R is R + k H, and the voltage at a current I is lower by
k I H. On the way down H is larger than on the way up at the same current, so the pairs tell k: a line through zero.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batchtest.capacity.model import Point

Floats = NDArray[np.float64]

#: Time constant with which a part of some watts cools, s (common practice: 15 to 40, no source).
COOLS_S = 25.0
#: How wrong the correction may be, as a share of it, since parts cool faster or slower than that.
DOUBT = 0.25


def without_heat(points: Sequence[Point]) -> Floats:
    """The matrix that makes of the voltages of a sweep those without heat, (points, points).

    Parameters
    ----------
    points : regulated, in the order they were taken.

    Returns
    -------
    No change where the times are not known, or no current was read on both ways.
    """
    unchanged = np.eye(len(points))
    heats = _heats(points)
    if heats is None:
        return unchanged
    lowers = np.array([point.current_A for point in points]) * heats  # what the voltage is lower by, for k = 1
    tells = np.zeros(len(points))
    square = 0.0
    for up, down in _pairs(points):
        more = lowers[down] - lowers[up]
        tells[up] += more
        tells[down] -= more
        square += more**2
    return unchanged + np.outer(lowers, tells / square) if square else unchanged


def _heats(points: Sequence[Point]) -> Floats | None:
    """Heat at each point, its own pulse up to the reading and what is left of the former ones, A^2 s."""
    found: list[float] = []
    for number, point in enumerate(points):
        if point.at_s is None:
            return None
        heat = point.current_A**2 * point.on_s
        for former in points[:number]:
            assert former.at_s is not None, "looked at before"
            heat += former.current_A**2 * former.pulse_s * float(np.exp((former.at_s - point.at_s) / COOLS_S))
        found.append(heat)
    return np.array(found)


def _pairs(points: Sequence[Point]) -> list[tuple[int, int]]:
    """Places of the points on the way up and on the way down at one current."""
    down = {point.current_A: place for place, point in enumerate(points) if not point.rising}
    return [
        (place, down[point.current_A]) for place, point in enumerate(points) if point.rising and point.current_A in down
    ]
