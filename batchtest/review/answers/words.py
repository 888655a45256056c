"""Counts, shares and values as they stand in a sentence."""

from __future__ import annotations

from batchtest.quantities import show
from batchtest.records.columns import RATIO
from batchtest.review.answers.model import Share


def many(count: int, one: str, more: str = "") -> str:
    """A count with its noun.

    >>> many(1, "batch", "batches"), many(1200, "board")
    ('1 batch', '1,200 boards')
    """
    return f"{count:,} {one if count == 1 else more or one + 's'}"


def percent(found: Share) -> str:
    """A share in percent with what was counted, such as "90 % (18 of 20)"."""
    if found.share is None:
        return "none tested"
    return f"{100 * found.share:.3g} % ({found.count:,} of {found.of:,})"


def said(value: float, unit: str) -> str:
    """A value with its unit; a ratio in percent.

    >>> said(0.0123, "V"), said(0.02, "1")
    ('12.30 mV', '2.000 %')
    """
    return show(value, "%" if unit == RATIO else unit)
