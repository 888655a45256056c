"""Tolerance factors: mean +- k s holds a share of all boards to come, with a confidence, if values are normal."""

from __future__ import annotations

import math
from functools import lru_cache

#: Points of the integral over the sample mean; doubling them changes no factor by 1e-9.
_NODES = 60
#: The sample mean lies within this many of its own standard deviations but for 1e-18.
_FAR = 9.0


@lru_cache(maxsize=1024)
def two_sided(count: int, coverage: float, confidence: float) -> float:
    """Exact factor for both sides, from `count` >= 2 values.

    Wald and Wolfowitz (1946), Ann. Math. Stat. 17, 208-215, with the integral over the sample mean done as
    Odeh and Owen (1980) and ISO 16269-6 do.

    >>> round(two_sided(10, 0.95, 0.95), 2)
    3.39
    """
    from numpy import exp, pi, sqrt
    from numpy.polynomial.legendre import leggauss
    from scipy.optimize import brentq
    from scipy.special import chdtrc, chndtrix

    freedom = _freedom(count, coverage, confidence)
    nodes, weights = leggauss(_NODES)
    means = (nodes + 1) / 2 * _FAR
    density = weights * _FAR / 2 * 2 * exp(-(means**2) / 2) / sqrt(2 * pi)
    reach = chndtrix(coverage, 1, means**2 / count)

    def short(factor: float) -> float:
        return float(density @ chdtrc(freedom, freedom * reach / factor**2)) - confidence

    start = howe(count, coverage, confidence)
    return float(brentq(short, start * 0.5, start * 2, xtol=1e-12))


def howe(count: int, coverage: float, confidence: float) -> float:
    """Approximate factor for both sides, as much used in tables.

    Howe (1969), J. Am. Stat. Assoc. 64, 610-620; e-Handbook 7.2.6.3.

    >>> round(howe(43, 0.90, 0.99), 3)
    2.217
    """
    from scipy.special import chdtri, ndtri

    freedom = _freedom(count, coverage, confidence)
    return float(ndtri((1 + coverage) / 2) * math.sqrt(freedom * (1 + 1 / count) / chdtri(freedom, confidence)))


@lru_cache(maxsize=1024)
def one_sided(count: int, coverage: float, confidence: float) -> float:
    """Exact factor for one side: a quantile of the non-central t distribution (ISO 16269-6).

    >>> round(one_sided(10, 0.95, 0.95), 3)
    2.911
    """
    from scipy.special import nctdtrit, ndtri

    freedom = _freedom(count, coverage, confidence)
    z = float(ndtri(coverage))
    return float(nctdtrit(freedom, z * math.sqrt(count), confidence)) / math.sqrt(count)


def free_count(coverage: float, confidence: float, sides: int) -> int:
    """Fewest values whose least and greatest hold `coverage` with `confidence`, whatever their distribution.

    Wilks (1941), Ann. Math. Stat. 12, 91-96. With one side only the least or the greatest counts.

    >>> free_count(0.95, 0.95, 2), free_count(0.90, 0.95, 2), free_count(0.95, 0.95, 1)
    (93, 46, 59)
    """
    count = sides
    while _missed(count, coverage, sides) > 1 - confidence:
        count += 1
    return count


def _missed(count: int, coverage: float, sides: int) -> float:
    """Probability that the extremes of so many values hold less than `coverage`."""
    if sides == 1:
        return float(coverage**count)
    return float(count * coverage ** (count - 1) - (count - 1) * coverage**count)


def _freedom(count: int, coverage: float, confidence: float) -> int:
    if count < 2 or not 0 < coverage < 1 or not 0 < confidence < 1:
        raise ValueError(f"no tolerance factor for {count} values, coverage {coverage}, confidence {confidence}")
    return count - 1
