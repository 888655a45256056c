"""Mean and spread from exact whole sums, so that the same data gives the same digits in any order, on any engine."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction
from itertools import pairwise


def mean(count: int, sum_steps: int, origin_steps: int, per_unit: int) -> float:
    """Mean of values kept as whole steps, rounded once.

    Parameters
    ----------
    sum_steps : sum of (value - origin), in steps. per_unit : steps to a unit.

    >>> mean(3, 6, 10_000_000, 1)
    10000002.0
    """
    return float((origin_steps + Fraction(sum_steps, count)) / per_unit)


def sd(count: int, sum_steps: int, square_steps: int, per_unit: int) -> float | None:
    """Standard deviation with n - 1; `None` below two values.

    Parameters
    ----------
    sum_steps, square_steps : sums of (value - origin) and of its square, in steps and their squares.

    >>> sd(3, 6, 14, 1)
    1.0
    """
    if count < 2:
        return None
    spread = Fraction(count * square_steps - sum_steps**2, count * (count - 1))
    return math.sqrt(spread / per_unit**2)


def autocorrelation(values: Sequence[float]) -> float | None:
    """Correlation of each value with the one before it, after the e-Handbook 1.3.5.12; `None` where all are equal.

    >>> autocorrelation([10_000_001.0, 10_000_003.0, 10_000_002.0])
    -0.5
    """
    middle = math.fsum(values) / len(values)
    off = [value - middle for value in values]
    whole = math.fsum(each * each for each in off)
    if not whole:
        return None
    return math.fsum(one * other for one, other in pairwise(off)) / whole
