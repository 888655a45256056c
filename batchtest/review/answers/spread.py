"""What one measurement's values tell: moments, margin, histogram, capability, tolerance interval, fit of the limits."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from batchtest.review.answers.asked import MICRO
from batchtest.review.answers.model import (
    CONFIDENCE,
    Bar,
    Capability,
    Fit,
    Interval,
    LimitFit,
    Margin,
    Moments,
    Tolerance,
)
from batchtest.review.answers.words import many, percent, said
from batchtest.review.answers.yields import share
from batchtest.review.questions import Bin, Individual, Measured
from batchtest.review.stats import moments as sums
from batchtest.review.stats import tolerance
from batchtest.review.stats.capability import FEWEST, cpk_interval, indices
from batchtest.review.stats.charts import Subgroup, within_sd
from batchtest.review.stats.proportions import exact_interval

#: Strips between the ends of a histogram's rows.
_STRIPS = 50
#: Share of the boards that a tolerance interval holds.
_COVERAGE = 0.95
#: Limits are too tight if surely more than this share of values lies within its uncertainty of them, and loose if the
#: mean is this many deviations away (common practice, no source).
_TIGHT, _LOOSE_SDS = 0.05, 12.0


def moments(row: Measured) -> Moments | None:
    """Mean and spread, from whole sums; `None` without a value."""
    if not row.values or row.least_micro is None or row.most_micro is None:
        return None
    return Moments(
        count=row.values,
        mean=sums.mean(row.values, row.sum_micro, row.origin_micro, MICRO),
        sd=sums.sd(row.values, row.sum_micro, row.squares_micro, MICRO),
        least=row.least_micro / MICRO,
        greatest=row.most_micro / MICRO,
    )


def margin(row: Measured, found: Moments, latest: Sequence[Individual]) -> Margin | None:
    """Room to the limits; `None` without a limit.

    Parameters
    ----------
    latest : values of the boards tested last, to name the board with the least margin.
    """
    sides = {}
    if row.lower is not None:
        sides["lower"] = (found.least - row.lower, found.mean - row.lower, row.least_micro)
    if row.upper is not None:
        sides["upper"] = (row.upper - found.greatest, row.upper - found.mean, row.most_micro)
    if not sides:
        return None
    least, _, at_micro = min(sides.values(), key=lambda side: side[0])
    nearest = min(sides, key=lambda side: sides[side][1])
    half = None if row.lower is None or row.upper is None else (row.upper - row.lower) / 2
    return Margin(
        least=least,
        serial=next((each.serial for each in latest if each.value_micro == at_micro), ""),
        of_window=least / half if half else None,
        nearest=nearest,
        in_sd=sides[nearest][1] / found.sd if found.sd else None,
        near=share(min(row.near_lower + row.near_upper, row.values), row.values),
    )


def histogram(rows: Iterable[Bin]) -> tuple[Bar, ...]:
    """Bars from the lowest to the highest strip, empty ones between the ends too; open bars only where values are."""
    strips = {row.strip: row for row in rows}
    if not strips:
        return ()
    some = next(iter(strips.values()))
    low, high = some.from_micro / MICRO, some.to_micro / MICRO
    if low == high:
        return (Bar(lower=low, upper=high, count=sum(row.values for row in strips.values())),)

    def edge(strip: int) -> float | None:
        return low + (high - low) * strip / _STRIPS if 0 <= strip <= _STRIPS else None

    return tuple(
        Bar(lower=edge(strip), upper=edge(strip + 1), count=strips[strip].values if strip in strips else 0)
        for strip in range(-1, _STRIPS + 1)
        if strip in strips or 0 <= strip < _STRIPS
    )


def subgroups(batches: Iterable[Measured]) -> list[Subgroup]:
    """Batches with a spread of their own."""
    found = [moments(row) for row in batches]
    return [Subgroup(count=each.count, mean=each.mean, sd=each.sd) for each in found if each and each.sd is not None]


def capability(row: Measured, found: Moments | None, batches: Sequence[Subgroup]) -> tuple[Capability | None, str]:
    """Capability, or why there is none."""
    if row.lower is None and row.upper is None:
        return None, "no limits"
    if found is None or found.count < FEWEST:
        return None, f"{many(found.count if found else 0, 'value')}; from {FEWEST} on"
    if not found.sd:
        return None, "all values are equal"
    of_all = indices(found.mean, found.sd, row.lower, row.upper)
    spread = within_sd(batches) if len(batches) > 1 else 0.0
    within = indices(found.mean, spread, row.lower, row.upper) if spread else None
    return (
        Capability(
            count=found.count,
            cp=within.cp if within else None,
            cpk=within.cpk if within else None,
            pp=of_all.cp,
            ppk=of_all.cpk,
            ppk_interval=Interval.of(cpk_interval(of_all.cpk, found.count, CONFIDENCE)),
            within_sd=spread or None,
        ),
        "",
    )


def tolerance_interval(row: Measured, found: Moments | None) -> Tolerance | None:
    """Where nearly all boards to come will lie; `None` without limits or without a spread."""
    lower, upper = row.lower, row.upper
    if found is None or not found.sd or (lower is None and upper is None):
        return None
    both = lower is not None and upper is not None
    factor = (tolerance.two_sided if both else tolerance.one_sided)(found.count, _COVERAGE, CONFIDENCE)

    def ends(times: float) -> Interval:
        reach = times * (found.sd or 0.0)
        return Interval(
            lower=None if lower is None else found.mean - reach, upper=None if upper is None else found.mean + reach
        )

    exact = ends(factor)
    return Tolerance(
        coverage=_COVERAGE,
        confidence=CONFIDENCE,
        factor=factor,
        exact=exact,
        howe=ends(tolerance.howe(found.count, _COVERAGE, CONFIDENCE)) if both else None,
        inside_limits=_inside(exact, row),
        free_from=tolerance.free_count(_COVERAGE, CONFIDENCE, 2 if both else 1),
    )


def _inside(held: Interval, row: Measured) -> bool:
    """Whether an interval that has an end for each limit lies inside the limits."""
    low = held.lower is None or row.lower is None or held.lower >= row.lower
    return low and (held.upper is None or row.upper is None or held.upper <= row.upper)


def limit_fit(row: Measured, found: Moments | None, room: Margin | None) -> LimitFit | None:
    """Whether the limits are too tight or loose for what is measured; `None` without limits or values.

    Limits follow from what the board must do, not from its yield: this says where to ask, not what to change.
    """
    if found is None or room is None:
        return None
    if exact_interval(room.near.count, room.near.of, CONFIDENCE, "lower")[0] > _TIGHT:
        why = f"{percent(room.near)} of the values lie within their uncertainty of a limit: measure better, or ask why"
        return LimitFit(fit=Fit.TIGHT, why=why)
    if found.count < FEWEST:
        return LimitFit(fit=Fit.CANNOT_TELL, why=f"too few to say: {many(found.count, 'value')}")
    if room.in_sd is not None and room.in_sd > _LOOSE_SDS:
        away = f"the mean lies {room.in_sd:.0f} standard deviations from the {room.nearest} limit"
        return LimitFit(fit=Fit.LOOSE, why=f"{away}: a board far from its fellows still passes")
    least = said(room.least, row.unit)
    return LimitFit(fit=Fit.FITS, why=f"{percent(room.near)} of the values near a limit; the least margin is {least}")
