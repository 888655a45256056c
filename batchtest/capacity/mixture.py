"""The interval of a sum of errors, some known only to lie within bounds, the rest normal: computed, not k = 2.

A source resistance is known as well as the gain of the load, one rectangular error that is larger than all others
together. For such a sum k = 2 is too wide: it covers every case, not 95 of 100.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

#: Probability of the intervals of this room.
PROBABILITY = 0.95
#: Points of the grid on which the distribution is convolved; the result is right to about 1 in 1000.
_POINTS = 2001
#: Standard deviations of the normal part that the grid reaches beyond the bounds of the others.
_TAIL = 6.0
#: Share of the grid's reach below which an error is nothing: a sum of weights that is zero but for rounding.
_SMALLEST = 1e-6


def half_width(bounds: Sequence[float], deviation: float, probability: float = PROBABILITY) -> float:
    """Half-width of the symmetric interval that holds a sum of independent errors, in the unit of the errors.

    Convolves the distributions (propagation of distributions, JCGM 101:2008, 5.2), on a grid instead of by chance.

    Parameters
    ----------
    bounds : half-widths of the rectangular errors, of either sign.
    deviation : standard deviation of the sum of the normal errors, >= 0.

    Examples
    --------
    >>> round(half_width([1.0], 0.0), 3), round(half_width([], 1.0), 2)
    (0.95, 1.96)
    """
    from scipy.special import ndtr

    reach = math.fsum(map(abs, bounds)) + _TAIL * deviation
    if reach == 0:
        return 0.0
    at = np.linspace(-reach, reach, _POINTS)
    below = ndtr(at / deviation) if deviation > _SMALLEST * reach else (np.sign(at) + 1) / 2
    for half in (abs(bound) for bound in bounds if abs(bound) > _SMALLEST * reach):
        whole = np.concatenate([[0.0], np.cumsum((below[1:] + below[:-1]) / 2)]) * (at[1] - at[0])
        beyond = np.maximum(at + half - reach, 0.0)  # to the right of the grid everything is below
        below = (np.interp(at + half, at, whole) + beyond - np.interp(at - half, at, whole)) / (2 * half)
    return float(np.interp((1 + probability) / 2, below, at))
