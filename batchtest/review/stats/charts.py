"""Charts of control: the centre line and limits that a process draws for itself. No board is judged by them.

Formulas: NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2 and 6.3.3 (doi:10.18434/M32189).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from batchtest.review.stats.constants import SIGMAS, c4, constants


@dataclass(frozen=True, slots=True, kw_only=True)
class Lines:
    """Centre line, control limits, and the standard deviation of what is charted."""

    centre: float
    lower: float
    upper: float
    sigma: float

    @classmethod
    def around(cls, centre: float, sigma: float, floor: float = -math.inf) -> Lines:
        """Limits three standard deviations from the centre, none below `floor`."""
        return cls(centre=centre, lower=max(floor, centre - SIGMAS * sigma), upper=centre + SIGMAS * sigma, sigma=sigma)

    def standard(self, value: float) -> float:
        """How many standard deviations a value is above the centre line; 0 on it, and infinite where nothing varies."""
        if value == self.centre:
            return 0.0
        return (value - self.centre) / self.sigma if self.sigma else math.copysign(math.inf, value - self.centre)


def individuals(values: Sequence[float]) -> Lines:
    """Lines for single values, two or more in order of time, with the spread from their moving ranges."""
    return Lines.around(_mean(values), _mean(_moving_ranges(values)) / constants(2).d2)


def moving_ranges(values: Sequence[float]) -> tuple[list[float], Lines]:
    """Differences of each value to the one before it, and their lines."""
    ranges = _moving_ranges(values)
    middle, of_two = _mean(ranges), constants(2)
    sigma = middle * of_two.d3 / of_two.d2
    return ranges, Lines(centre=middle, lower=of_two.D3 * middle, upper=of_two.D4 * middle, sigma=sigma)


@dataclass(frozen=True, slots=True, kw_only=True)
class Subgroup:
    """Values that were made together: how many (2 or more), their mean and standard deviation."""

    count: int
    mean: float
    sd: float


def within_sd(groups: Sequence[Subgroup]) -> float:
    """Spread within subgroups, which may differ in size: pooled by degrees of freedom, and freed of its bias.

    (Burr 1969, J. Qual. Technol. 1, 163-167.)
    """
    freedom = sum(group.count - 1 for group in groups)
    pooled = math.sqrt(math.fsum((group.count - 1) * group.sd**2 for group in groups) / freedom)
    return pooled / c4(freedom + 1)


def means(groups: Sequence[Subgroup]) -> list[Lines]:
    """Lines for the mean of each subgroup: wider for a smaller one."""
    spread, total = within_sd(groups), sum(group.count for group in groups)
    centre = math.fsum(group.count * group.mean for group in groups) / total
    return [Lines.around(centre, spread / math.sqrt(group.count)) for group in groups]


def sds(groups: Sequence[Subgroup]) -> list[Lines]:
    """Lines for the standard deviation of each subgroup."""
    spread = within_sd(groups)
    return [
        Lines.around(c4(group.count) * spread, spread * math.sqrt(1 - c4(group.count) ** 2), floor=0.0)
        for group in groups
    ]


def weighted(values: Sequence[float], centre: float, sigma: float, weight: float = 0.2) -> tuple[list[float], Lines]:
    """Exponentially weighted moving averages and their lines for a long run: they see a slow drift sooner.

    Roberts (1959), Technometrics 1, 239-250; e-Handbook 6.3.2.4.

    Parameters
    ----------
    centre, sigma : where the process should be, and the standard deviation of a single value.
    weight : of the newest value, above 0 and at most 1.
    """
    averages, now = [], centre
    for value in values:
        now = weight * value + (1 - weight) * now
        averages.append(now)
    return averages, Lines.around(centre, sigma * math.sqrt(weight / (2 - weight)))


@dataclass(frozen=True, slots=True, kw_only=True)
class CumulativeSums:
    """Sums of what values lie above and below a target, beyond an allowance; `first` is the first beyond `limit`.

    `side` is "high" or "low"; both are `None` where no sum went beyond.
    """

    high: tuple[float, ...]
    low: tuple[float, ...]
    first: int | None
    side: str | None


def cumulative_sums(values: Sequence[float], target: float, allowance: float, limit: float) -> CumulativeSums:
    """Tabular cumulative sums: they see a small lasting shift sooner than single points do.

    Page (1954), Biometrika 41, 100-115; e-Handbook 6.3.2.3.

    Parameters
    ----------
    allowance, limit : k and h in the unit of the values (for a shift of one sigma commonly 0.5 and 4 or 5 sigma).
    """
    high, low = [0.0], [0.0]
    for value in values:
        high.append(max(0.0, high[-1] + value - target - allowance))
        low.append(max(0.0, low[-1] + target - allowance - value))
    first = next((place for place in range(len(values)) if max(high[place + 1], low[place + 1]) > limit), None)
    side = None if first is None else "high" if high[first + 1] > limit else "low"
    return CumulativeSums(high=tuple(high[1:]), low=tuple(low[1:]), first=first, side=side)


def counts(found: Sequence[int]) -> Lines:
    """Lines for counts of rare events in equal stretches; a count on a limit is not beyond it."""
    centre = _mean(found)
    return Lines.around(centre, math.sqrt(centre), floor=0.0)


def _moving_ranges(values: Sequence[float]) -> list[float]:
    if len(values) < 2:
        raise ValueError(f"a chart needs 2 values or more, got {len(values)}")
    return [abs(after - before) for before, after in pairwise(values)]


def _mean(values: Sequence[float]) -> float:
    return math.fsum(values) / len(values)
