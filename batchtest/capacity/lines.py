"""Least-squares straight lines, with and without an intercept, with the standard errors of what they give."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """y = `intercept` + `slope` x x, standard errors and residual standard deviation (`nan` without spare points).

    `r2` is the share of the squares that the line explains: about the mean, or about zero for a line through zero.
    """

    intercept: float
    slope: float
    intercept_error: float
    slope_error: float
    residual: float
    r2: float


def straight(x: Sequence[float], y: Sequence[float]) -> Line:
    """The line of least squares (Draper and Smith, Applied Regression Analysis, chapter 1), sums about the means.

    Raises
    ------
    ValueError : fewer than two different x; there is no line.
    """
    count, mean_x, mean_y = len(x), math.fsum(x) / len(x), math.fsum(y) / len(y)
    from_x, from_y = [value - mean_x for value in x], [value - mean_y for value in y]
    squares = math.fsum(value**2 for value in from_x)
    if squares == 0:
        raise ValueError(f"a line needs two different x, got {sorted(set(x))}")
    slope = math.fsum(a * b for a, b in zip(from_x, from_y, strict=True)) / squares
    left = math.fsum((b - slope * a) ** 2 for a, b in zip(from_x, from_y, strict=True))
    residual = _deviation(left, count - 2)
    return Line(
        intercept=mean_y - slope * mean_x,
        slope=slope,
        intercept_error=residual * math.sqrt(1 / count + mean_x**2 / squares),
        slope_error=residual / math.sqrt(squares),
        residual=residual,
        r2=_explained(left, math.fsum(value**2 for value in from_y)),
    )


def through_zero(x: Sequence[float], y: Sequence[float]) -> Line:
    """The line of least squares through zero: a resistance from the voltages across it, say.

    Raises
    ------
    ValueError : every x is zero; there is no line.
    """
    squares = math.fsum(value**2 for value in x)
    if squares == 0:
        raise ValueError("a line through zero needs an x that is not zero")
    slope = math.fsum(a * b for a, b in zip(x, y, strict=True)) / squares
    left = math.fsum((b - slope * a) ** 2 for a, b in zip(x, y, strict=True))
    residual = _deviation(left, len(x) - 1)
    return Line(
        intercept=0.0,
        slope=slope,
        intercept_error=0.0,
        slope_error=residual / math.sqrt(squares),
        residual=residual,
        r2=_explained(left, math.fsum(value**2 for value in y)),
    )


def _deviation(squares: float, dof: int) -> float:
    return math.sqrt(squares / dof) if dof > 0 else math.nan


def _explained(left: float, squares: float) -> float:
    return 1 - left / squares if squares else 1.0
