"""Where a source gives up, and how: it limits, folds back, or collapses."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

from batchtest.capacity.model import Knee, KneeKind, Point

#: Shares of the last good current that flow past the knee: above the first it limits, below the second it collapsed;
#: between them it folds back. A tripped fuse lets about a tenth through (own choice).
LIMITS_ABOVE, COLLAPSED_BELOW = 0.9, 0.2
#: A piece of the sweep this many times steeper than the steepest before it is past a soft knee (own choice).
STEEPER = 3.0


def find(points: Sequence[Point]) -> Knee | None:
    """The knee in the rising part of a sweep, in the order that it was taken; `None` where every current was held.

    A load in constant current cannot follow a fold-back: past the knee it saturates, and what it reads back then is
    where the source's curve meets the load's lowest voltage.
    """
    good: list[Point] = []
    for point in points:
        if not point.rising:
            continue
        if point.voltage.value is None or not point.voltage.regulated:
            last_A = good[-1].current_A if good else 0.0
            return Knee(kind=_kind(point, last_A), last_good_A=last_A, first_bad_A=point.current_A)
        if _gives_way(good, point):
            return Knee(kind=KneeKind.LIMIT, last_good_A=good[-1].current_A, first_bad_A=point.current_A)
        good.append(point)
    return None


def _kind(point: Point, last_A: float) -> KneeKind:
    """By what still flows; a source that nobody saw deliver anything has collapsed."""
    if not point.drawn_A or last_A == 0 or point.drawn_A < COLLAPSED_BELOW * last_A:
        return KneeKind.COLLAPSE
    return KneeKind.LIMIT if point.drawn_A > LIMITS_ABOVE * last_A else KneeKind.FOLD_BACK


def _gives_way(good: Sequence[Point], point: Point) -> bool:
    """Whether the voltage falls to this point far more steeply than it did between any two points with a load before.

    The step from open circuit does not count: a regulator's first milliamperes cost it the most.
    """
    loaded = [before for before in good if before.current_A > 0]
    falls = [_fall_ohm(a, b) for a, b in pairwise(loaded)]
    return bool(falls) and max(falls) > 0 and _fall_ohm(loaded[-1], point) > STEEPER * max(falls)


def _fall_ohm(first: Point, second: Point) -> float:
    step_A = second.current_A - first.current_A
    fall_V = (first.voltage.value or 0.0) - (second.voltage.value or 0.0)
    return fall_V / step_A if step_A > 0 else 0.0
