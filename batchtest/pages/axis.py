"""A straight scale under a drawing: where a value lies between limits, and on which side it leaves the paper."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass

from batchtest.nouns import Limit

#: Room outside the outermost limits, as a share of the span between them.
_MARGIN = 0.25
#: How far an open side reaches at most, in sizes of the one bound there is.
_REACH = 9.0

#: Ends nearer than this share of their size are one place; sizes below `_NOTHING` base units are zero.
_SAME, _NOTHING = 1e-9, 1e-15


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from `start` to `end` (base unit) laid over `width` drawing units."""

    start: float
    end: float
    width: float

    def at(self, value: float) -> float:
        """Place of a value, held inside the drawing."""
        share = (value - self.start) / (self.end - self.start)
        return round(min(1.0, max(0.0, share)) * self.width, 1)

    def side(self, value: float) -> int:
        """-1 where a value lies left of the drawing, 1 where it lies right of it, 0 inside."""
        return (value > self.end) - (value < self.start)


def axis_for(limits: Iterable[Limit], values: Iterable[float], width: float) -> Axis:
    """An axis on which every limit shows, with room beside it. An open side reaches to the furthest value.

    Values far beyond a limit do not stretch the axis: they are drawn as arrows at its end.
    """
    together = list(limits)
    seen = [value for value in values if math.isfinite(value)]
    lowers = [limit.lower for limit in together if limit.lower is not None]
    uppers = [limit.upper for limit in together if limit.upper is not None]
    start, end = _ends(lowers, uppers, seen)
    size = max(abs(start), abs(end))
    if end - start <= _SAME * size or size < _NOTHING:
        half = size / 2 if size >= _NOTHING else 0.5
        start, end = start - half, end + half
    room = _MARGIN * (end - start)
    return Axis(start - room, end + room, width)


def _ends(lowers: list[float], uppers: list[float], seen: list[float]) -> tuple[float, float]:
    if lowers and uppers:
        return min(*lowers, *uppers), max(*lowers, *uppers)
    if uppers:
        upper, size = max(uppers), abs(max(uppers)) or 1.0
        return max(min([0.0 if upper > 0 else upper - size, *seen]), upper - _REACH * size), upper
    if lowers:
        lower, size = min(lowers), abs(min(lowers)) or 1.0
        return lower, min(max([0.0 if lower < 0 else lower + size, *seen]), lower + _REACH * size)
    return min(seen, default=0.0), max(seen, default=1.0)
