"""Capability: the room between limits, in standard deviations. Never from few values."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: Below this many values an interval of Cpk is so wide that the number misleads (common practice, no source).
FEWEST = 25


@dataclass(frozen=True, slots=True, kw_only=True)
class Indices:
    """Capability with one estimate of spread; `cp` is `None` with one limit, as is the side that has none."""

    cp: float | None
    lower: float | None
    upper: float | None

    @property
    def cpk(self) -> float:
        """The lesser of the two sides."""
        return min(side for side in (self.lower, self.upper) if side is not None)


def indices(mean: float, sd: float, lower: float | None, upper: float | None) -> Indices:
    """Cp and its sides. With the spread within batches they are called Cp and Cpk, with that of all Pp and Ppk.

    Definitions: NIST/SEMATECH e-Handbook of Statistical Methods, 6.1.6 (doi:10.18434/M32189).

    Parameters
    ----------
    sd : > 0, in the unit of the mean and the limits, of which one may be `None`.

    >>> found = indices(16, 2, 8, 20)
    >>> found.cp, round(found.cpk, 4)
    (1.0, 0.6667)
    """
    if not sd > 0:
        raise ValueError(f"a capability needs a spread above 0, got {sd}")
    if lower is None and upper is None:
        raise ValueError("a capability needs a limit")
    return Indices(
        cp=None if lower is None or upper is None else (upper - lower) / (6 * sd),
        lower=None if lower is None else (mean - lower) / (3 * sd),
        upper=None if upper is None else (upper - mean) / (3 * sd),
    )


def cpk_interval(cpk: float, count: int, confidence: float) -> tuple[float, float]:
    """Two-sided interval of Cpk or Ppk by normal approximation.

    Bissell (1990), Appl. Stat. 39, 331-340; also e-Handbook 6.1.6. It is too narrow for few values.

    >>> [round(end, 2) for end in cpk_interval(1.33, 50, 0.95)]
    [1.05, 1.61]
    """
    from scipy.special import ndtri

    z = float(ndtri((1 + confidence) / 2))
    half = z * math.sqrt(1 / (9 * count) + cpk * cpk / (2 * (count - 1)))
    return cpk - half, cpk + half
