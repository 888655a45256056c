"""On which ends of an interval its doubt lies."""

from __future__ import annotations

from typing import Literal

Side = Literal["both", "lower", "upper"]


def tail(confidence: float, side: Side) -> float:
    """Probability beyond an end that is to be found, as people write it: that of 95 % is 5 %, to the last digit.

    >>> tail(0.95, "both"), tail(0.95, "lower")
    (0.025, 0.05)
    """
    if not 0 < confidence < 1:
        raise ValueError(f"a confidence lies between 0 and 1, got {confidence}")
    return round(1 - confidence, 12) / (2 if side == "both" else 1)
