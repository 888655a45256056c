"""Boards that passed and yet lie apart from their fellows: part average limits."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.nouns import Outcome
from batchtest.review.answers.asked import MICRO
from batchtest.review.answers.model import Interval, Moments, Outlier, PartAverage
from batchtest.review.questions import Individual, Measured
from batchtest.review.questions import Outlier as Outlying
from batchtest.review.stats import outliers

#: With fewer values quartiles say little of the tails (common practice, no source).
_FEWEST = 30


def part_average(row: Measured, latest: Sequence[Individual], apart: Sequence[Outlying]) -> PartAverage | None:
    """Part average limits from the boards tested last; `None` below thirty, or where quartiles are equal."""
    if len(latest) < _FEWEST:
        return None
    found = outliers.quartiles([each.value_micro / MICRO for each in latest])
    if not found.range:
        return None
    passed = sorted(
        (_outlier(each) for each in apart if each.outcome == Outcome.PASS), key=lambda each: -abs(each.robust_sds)
    )
    return PartAverage(
        count=len(latest),
        median=found.median,
        robust_sd=outliers.robust_sd(found),
        limits=Interval.of(outliers.part_average_limits(found, row.lower, row.upper)),
        inner=Interval.of(found.fences(1.5)),
        outer=Interval.of(found.fences(3.0)),
        outliers=tuple(passed),
        found=max((each.found for each in apart), default=0),
    )


def far_apart(found: Moments, latest: Sequence[Individual]) -> str:
    """Why nothing that assumes a normal distribution is to be trusted; empty where no value says so.

    Parameters
    ----------
    latest : values of the boards tested last; their outer fences are what the extremes of all boards are held against.
    """
    if not latest:
        return ""
    low, high = outliers.quartiles([each.value_micro / MICRO for each in latest]).fences(3.0)
    if low <= found.least and found.greatest <= high:
        return ""
    return "values far from all others are in it; it assumes that there are none"


def _outlier(row: Outlying) -> Outlier:
    robust = outliers.robust_sd(
        outliers.Quartiles(lower=row.first_micro, median=row.median_micro, upper=row.third_micro)
    )
    return Outlier(
        serial=row.serial,
        batch=row.batch,
        value=row.value_micro / MICRO,
        robust_sds=(row.value_micro - row.median_micro) / robust,
    )
