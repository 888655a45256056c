"""Intervals for a share that was counted: k of n boards."""

from __future__ import annotations

import math

from batchtest.review.stats.sides import Side, tail


def exact_interval(count: int, of: int, confidence: float, side: Side = "both") -> tuple[float, float]:
    """Interval by Clopper and Pearson (1934), Biometrika 26, 404-413: never covers less than `confidence`.

    Parameters
    ----------
    count, of : 0 <= count <= of; an `of` of 0 gives 0 to 1.
    side : "lower" or "upper" puts all the doubt on that end; the other end is 0 or 1.

    >>> [round(end, 3) for end in exact_interval(18, 20, 0.95)]
    [0.683, 0.988]
    """
    from scipy.special import betaincinv

    _check(count, of)
    doubt = tail(confidence, side)
    lower = betaincinv(count, of - count + 1, doubt) if count and side != "upper" else 0.0
    upper = betaincinv(count + 1, of - count, 1 - doubt) if count < of and side != "lower" else 1.0
    return float(lower), float(upper)


def wilson_interval(count: float, of: int, confidence: float, side: Side = "both") -> tuple[float, float]:
    """Interval by Wilson (1927), J. Am. Stat. Assoc. 22, 209-212: covers `confidence` on average.

    Parameters
    ----------
    count, of : 0 <= count <= of; a count need not be whole; an `of` of 0 gives 0 to 1.
    side : as in `exact_interval`.

    >>> [round(end, 3) for end in wilson_interval(18, 20, 0.95)]
    [0.699, 0.972]
    """
    from scipy.special import ndtri

    _check(count, of)
    if not of:
        return 0.0, 1.0
    z = -float(ndtri(tail(confidence, side)))
    share, weight = count / of, z * z / of
    middle = (share + weight / 2) / (1 + weight)
    half = z * math.sqrt(share * (1 - share) / of + weight / (4 * of)) / (1 + weight)
    lower = max(0.0, middle - half) if count and side != "upper" else 0.0
    upper = min(1.0, middle + half) if count < of and side != "lower" else 1.0
    return lower, upper


def _check(count: float, of: int) -> None:
    if not 0 <= count <= of:
        raise ValueError(f"a share needs 0 <= count <= of, got {count} of {of}")
