"""Values apart from their fellows: quartiles by named methods, fences, and part average limits."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction
from typing import Literal

#: "(n+1)p": the value at place (n + 1) p of the sorted ones; "(n-1)p+1": what numpy calls linear.
Method = Literal["(n+1)p", "(n-1)p+1"]
_QUARTERS = (Fraction(1, 4), Fraction(1, 2), Fraction(3, 4))
#: Interquartile range of a normal distribution in standard deviations, rounded as AEC-Q001 has it (1.34898).
IQR_PER_SIGMA = 1.35
#: Part average limits lie this many robust standard deviations from the median.
ROBUST_SIGMAS = 6.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Quartiles:
    """The three values that part sorted values into quarters."""

    lower: float
    median: float
    upper: float

    @property
    def range(self) -> float:
        """Upper less lower quartile."""
        return self.upper - self.lower

    def fences(self, ranges: float) -> tuple[float, float]:
        """Bounds so many interquartile ranges outside the quartiles: 1.5 is the inner fence, 3 the outer.

        Tukey (1977), Exploratory Data Analysis; e-Handbook 7.1.6.
        """
        return self.lower - ranges * self.range, self.upper + ranges * self.range


def places(count: int, part: Fraction, method: Method = "(n+1)p") -> tuple[int, int, Fraction]:
    """Between which two of `count` sorted values a quantile lies, counted from 1, and how far from the first.

    >>> places(90, Fraction(1, 4))
    (22, 23, Fraction(3, 4))
    """
    place = (count + 1) * part if method == "(n+1)p" else (count - 1) * part + 1
    place = min(max(place, Fraction(1)), Fraction(count))
    low = math.floor(place)
    return low, math.ceil(place), place - low


def quartiles(values: Sequence[float], method: Method = "(n+1)p") -> Quartiles:
    """Quartiles of one or more values, in any order."""
    ordered = sorted(values)
    found = []
    for part in _QUARTERS:
        low, high, share = places(len(ordered), part, method)
        found.append(between(ordered[low - 1], ordered[high - 1], share))
    return Quartiles(lower=found[0], median=found[1], upper=found[2])


def between(low: float, high: float, share: Fraction) -> float:
    """The value that lies `share` of the way from one to another."""
    return low + float(share) * (high - low)


def robust_sd(found: Quartiles) -> float:
    """Standard deviation that outliers hardly move (AEC-Q001 Rev D)."""
    return found.range / IQR_PER_SIGMA


def part_average_limits(found: Quartiles, lower: float | None, upper: float | None) -> tuple[float, float]:
    """Limits six robust standard deviations around the median, never outside the specification (AEC-Q001 Rev D).

    Parameters
    ----------
    lower, upper : the specification's limits; `None` is none.
    """
    reach = ROBUST_SIGMAS * robust_sd(found)
    low, high = found.median - reach, found.median + reach
    return max(low, -math.inf if lower is None else lower), min(high, math.inf if upper is None else upper)
