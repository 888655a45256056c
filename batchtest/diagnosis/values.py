"""Values that a part may have been fitted with instead of its own: a decade off, or next to it in the stock."""

from __future__ import annotations

import math
from collections.abc import Iterator

#: Preferred values of the E12 series, IEC 60063 (from memory): what a workshop has in its drawers.
E12 = (1.0, 1.2, 1.5, 1.8, 2.2, 2.7, 3.3, 3.9, 4.7, 5.6, 6.8, 8.2)
#: A neighbour nearer than this is the value itself, in another rounding.
_SAME = 0.04


def neighbours(value: float) -> tuple[float, float]:
    """The E12 values next below and next above a value > 0.

    >>> neighbours(1200.0)
    (1000.0, 1500.0)
    >>> neighbours(2.4e3)
    (2200.0, 2700.0)
    """
    decade = math.floor(math.log10(value))
    known = [base * 10.0**power for power in range(decade - 1, decade + 2) for base in E12]
    below = max(one for one in known if one < value * (1 - _SAME))
    above = min(one for one in known if one > value * (1 + _SAME))
    return float(f"{below:.3g}"), float(f"{above:.3g}")


def wrong_values(value: float) -> Iterator[float]:
    """A tenth and ten times (one band or digit misread), then the neighbours."""
    yield from (float(f"{value / 10:.4g}"), float(f"{value * 10:.4g}"))
    yield from neighbours(value)
