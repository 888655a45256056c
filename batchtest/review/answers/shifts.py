"""Drift from batch to batch, with what the station itself drifted taken off where a reference board shows it."""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from itertools import pairwise

from batchtest.review.answers.asked import MICRO
from batchtest.review.answers.model import CONFIDENCE, BatchShift, Interval, Moments
from batchtest.review.answers.spread import moments
from batchtest.review.answers.words import said
from batchtest.review.questions import Golden, Measured
from batchtest.review.stats.comparing import welch_interval


def reference_means(rows: Iterable[Golden], name: str, unit: str) -> dict[str, float]:
    """Mean of the reference boards' values of one measurement, by batch."""
    values: dict[str, list[float]] = defaultdict(list)
    for row in rows:
        if (row.name, row.unit) == (name, unit):
            values[row.batch].append(row.value_micro / MICRO)
    return {batch: math.fsum(found) / len(found) for batch, found in values.items()}


def shifts(rows: Sequence[Measured], reference: Mapping[str, float], comparisons: int) -> tuple[BatchShift, ...]:
    """How far the mean of each batch lies from that of the batch before.

    Parameters
    ----------
    rows : of one measurement, a batch each, in order of time.
    reference : mean of the reference boards by batch.
    comparisons : how many shifts are looked at in all; a shift is told only if it stands out among so many
        (Bonferroni).
    """
    known = [(row, found) for row in rows if (found := moments(row)) is not None]
    return tuple(_shift(before, after, reference, comparisons) for before, after in pairwise(known))


def _shift(
    before: tuple[Measured, Moments],
    after: tuple[Measured, Moments],
    reference: Mapping[str, float],
    comparisons: int,
) -> BatchShift:
    shift = after[1].mean - before[1].mean
    names = before[0].batch, after[0].batch
    own = reference[names[1]] - reference[names[0]] if names[0] in reference and names[1] in reference else None
    interval = _interval(before[1], after[1], own or 0.0, CONFIDENCE)
    sure = _interval(before[1], after[1], own or 0.0, 1 - (1 - CONFIDENCE) / max(1, comparisons))
    return BatchShift(
        batch=names[1],
        before=names[0],
        mean=after[1].mean,
        count=after[1].count,
        shift=shift,
        reference=own,
        corrected=shift - (own or 0.0),
        interval=interval,
        told=_told(shift - (own or 0.0), sure, after[0], own),
    )


def _interval(before: Moments, after: Moments, off: float, confidence: float) -> Interval | None:
    if before.sd is None or after.sd is None:
        return None
    low, high = welch_interval((after.count, after.mean, after.sd), (before.count, before.mean, before.sd), confidence)
    return Interval(lower=low - off, upper=high - off)


def _told(corrected: float, sure: Interval | None, row: Measured, own: float | None) -> str:
    if sure is None or sure.lower is None or sure.upper is None or sure.lower <= 0 <= sure.upper:
        return "cannot tell"
    size = said(abs(corrected), row.unit)
    way = "higher" if corrected > 0 else "lower"
    if own is None and row.uncertainty_micro is not None and abs(corrected) * MICRO <= row.uncertainty_micro:
        return f"{size} {way}, within the uncertainty of a reading: it may be the station's"
    station = "" if own is not None else "; no reference board says whether it is the station's"
    return f"{size} {way}{station}"
