"""Run rules: patterns of points on a chart of control that chance makes rarely.

Two published lists: Western Electric (1956), Statistical Quality Control Handbook; Nelson (1984), J. Qual. Technol. 16,
237-239. A point is given in standard deviations from the centre line. One that lies exactly on the centre line is on
neither side of it, and ends a run on one side; one that lies exactly on a zone's bound is not beyond it, nor within.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

#: Points up to and with the newest -> whether the newest completes the pattern.
Test = Callable[[Sequence[float]], bool]


@dataclass(frozen=True, slots=True, kw_only=True)
class RunRule:
    """A rule: its list and number, what it says, how many points it looks at, and its test of them."""

    name: str
    words: str
    points: int
    completes: Test


def completed(rules: Sequence[RunRule], points: Sequence[float]) -> list[tuple[RunRule, ...]]:
    """Which rules each point completes, with the points before it.

    >>> [[rule.words for rule in found] for found in completed(NELSON, [0.1, -3.2, 0.4])]
    [[], ['1 beyond 3 sigma'], []]
    """
    return [
        tuple(rule for rule in rules if rule.completes(points[max(0, place + 1 - rule.points) : place + 1]))
        for place in range(len(points))
    ]


def _beyond(needed: int, window: int, sigmas: float) -> Test:
    """At least `needed` of the last `window` points lie beyond so many sigmas, on one side."""
    return lambda points: any(
        sum(sign * point > sigmas for point in points[-window:]) >= needed for sign in (1.0, -1.0)
    )


def _one_side(length: int) -> Test:
    return _beyond(length, length, 0.0)


def _rising_or_falling(length: int) -> Test:
    def test(points: Sequence[float]) -> bool:
        steps = _steps(points)
        return len(points) == length and (min(steps) > 0 or max(steps) < 0)

    return test


def alternating(length: int) -> Test:
    """So many points go up and down by turns."""

    def test(points: Sequence[float]) -> bool:
        steps = _steps(points)
        turns = all(one * other < 0 for one, other in pairwise(steps))
        return len(points) == length and turns and bool(steps[0])

    return test


def _within(length: int, sigmas: float) -> Test:
    return lambda points: len(points) == length and all(abs(point) < sigmas for point in points)


def _beyond_either(length: int, sigmas: float) -> Test:
    return lambda points: len(points) == length and all(abs(point) > sigmas for point in points)


def _steps(points: Sequence[float]) -> list[float]:
    """Signs of the steps from point to point."""
    return [0.0 if after == before else math.copysign(1.0, after - before) for before, after in pairwise(points)]


def _rules(author: str, *rules: tuple[str, int, Test]) -> tuple[RunRule, ...]:
    return tuple(
        RunRule(name=f"{author} {number}", words=words, points=points, completes=test)
        for number, (words, points, test) in enumerate(rules, start=1)
    )


_ONE_FAR = ("1 beyond 3 sigma", 1, _beyond(1, 1, 3.0))
_TWO_OF_THREE = ("2 of 3 beyond 2 sigma same side", 3, _beyond(2, 3, 2.0))
_FOUR_OF_FIVE = ("4 of 5 beyond 1 sigma same side", 5, _beyond(4, 5, 1.0))
#: For a chart whose points are few.
WESTERN_ELECTRIC = _rules("Western Electric", _ONE_FAR, _TWO_OF_THREE, _FOUR_OF_FIVE, ("8 same side", 8, _one_side(8)))
#: All eight: more is seen, and more false alarms are made.
NELSON = _rules(
    "Nelson",
    _ONE_FAR,
    ("9 same side", 9, _one_side(9)),
    ("6 rising or falling", 6, _rising_or_falling(6)),
    ("14 alternating", 14, alternating(14)),
    _TWO_OF_THREE,
    _FOUR_OF_FIVE,
    ("15 within 1 sigma", 15, _within(15, 1.0)),
    ("8 beyond 1 sigma, either side", 8, _beyond_either(8, 1.0)),
)
