"""Constants of control charts for normal values, worked out rather than copied: printed tables have errors."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

#: Normal values lie within this many standard deviations but for 1e-17.
_FAR = 8.5
_NODES = 160
#: Control limits lie this many standard deviations of what is charted from its centre line.
SIGMAS = 3.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Constants:
    """Of ranges of subgroups of one size; names as in the published tables.

    d2, d3 : mean and standard deviation of the range, in standard deviations.
    D3, D4 : limits of ranges, in mean ranges.
    """

    d2: float
    d3: float
    D3: float
    D4: float


@cache
def constants(size: int) -> Constants:
    """Constants for subgroups of `size` >= 2 values.

    The range after Tippett (1925), Biometrika 17, 364-387, by Gauss-Legendre integration.

    >>> found = constants(5)
    >>> round(found.d2, 3), round(found.d3, 4), round(found.D4, 4)
    (2.326, 0.8641, 2.1145)
    """
    d2, d3 = _range(size)
    return Constants(d2=d2, d3=d3, D3=max(0.0, 1 - SIGMAS * d3 / d2), D4=1 + SIGMAS * d3 / d2)


def c4(size: int) -> float:
    """Mean of the standard deviation of `size` >= 2 normal values whose true one is 1.

    >>> round(c4(2), 4)
    0.7979
    """
    from scipy.special import poch

    if size < 2:
        raise ValueError(f"a spread needs 2 values or more, got {size}")
    return float(poch((size - 1) / 2, 0.5) * (2 / (size - 1)) ** 0.5)


def _range(size: int) -> tuple[float, float]:
    """Mean and standard deviation of the range of so many normal values."""
    import numpy as np
    from numpy.polynomial.legendre import leggauss
    from scipy.special import ndtr

    nodes, weights = leggauss(_NODES)
    low, low_weight = nodes * _FAR, weights * _FAR
    width, width_weight = (nodes + 1) * _FAR, weights * _FAR
    below = ndtr(low)
    mean = float(low_weight @ (1 - below**size - (1 - below) ** size))
    high = ndtr(low[:, None] + width)
    both = 1 - high**size - (1 - below[:, None]) ** size + (high - below[:, None]) ** size
    square = 2 * float(low_weight @ both @ width_weight)
    return mean, float(np.sqrt(square - mean**2))
