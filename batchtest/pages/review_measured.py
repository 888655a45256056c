"""What a review says of one measurement, in words: limits, values, margin, capability, tolerance, outliers, shifts."""

from __future__ import annotations

import math
from collections.abc import Iterator

from batchtest.nouns import Limit
from batchtest.pages.review_words import counted
from batchtest.pages.scale import Scale, scale_for
from batchtest.records.columns import RATIO
from batchtest.review.answers.model import (
    BatchShift,
    BoardReview,
    Capability,
    Interval,
    Margin,
    Measured,
    MeasurementReview,
    PartAverage,
    Tolerance,
)

#: Unit of a record -> unit that people read; a ratio is shown in per cent.
_SHOWN = {RATIO: "%"}
#: Boards that a line names before it counts.
_MOST_NAMED = 5


def scale(review: MeasurementReview) -> Scale:
    """How the values of one measurement are written: its spread shows two digits."""
    what, moments = review.what, review.moments
    bounds = [abs(bound) for bound in (what.lower, what.upper) if bound is not None]
    values = [] if moments is None else [abs(moments.mean)]
    spread = [moments.sd] if moments and moments.sd and math.isfinite(moments.sd) else []
    return scale_for(bounds or values, _SHOWN.get(what.unit, what.unit), spread)


def limits(what: Measured, written: Scale) -> str:
    """The limits of a measurement: "4.9 to 5.1 V"."""
    return written.limits(Limit(lower=what.lower, upper=what.upper))


def whose(what: Measured, written: Scale) -> str:
    """A measurement with its limits, which tell it from another one of its name."""
    return f"{what.name}, {limits(what, written)}"


def spread_words(review: MeasurementReview, written: Scale) -> str:
    """Count, mean and standard deviation; what was read when there is no value."""
    moments = review.moments
    if moments is None:
        return "no value"
    sd = "" if moments.sd is None else f", s {_fine(moments.sd, written)}"
    return f"n = {moments.count:,}, mean {written.of(moments.mean)}{sd}"


def margin_words(margin: Margin, written: Scale) -> str:
    """How near to a limit the worst board came, and the mean in standard deviations."""
    side = "outside its limits by" if margin.least < 0 else "inside by"
    who = f"worst {margin.serial}, " if margin.serial else "worst "
    said = f"{who}{side} {_fine(abs(margin.least), written)}"
    return said if margin.in_sd is None else f"{said}; mean {margin.in_sd:.1f} s from the {margin.nearest} limit"


def margin_short(margin: Margin, written: Scale) -> str:
    """The worst board and how near to a limit it came."""
    side = "outside" if margin.least < 0 else "inside"
    return f"{margin.serial} {_fine(abs(margin.least), written)} {side}".strip()


def capability_words(review: MeasurementReview) -> str:
    """Ppk with its interval, and Cpk where it is known; or why there is none."""
    found = review.capability
    if found is None:
        return review.no_capability
    return ", ".join(_indices(found))


def ppk_words(review: MeasurementReview) -> str:
    """Ppk and its interval alone, or that there are too few."""
    if review.capability is not None:
        return _ppk(review.capability)
    return "" if review.moments is None else f"n = {review.moments.count:,}"


def _ppk(found: Capability) -> str:
    ends = found.ppk_interval
    return f"{found.ppk:.2f} ({_two(ends.lower)} to {_two(ends.upper)})"


def _indices(found: Capability) -> Iterator[str]:
    yield f"Ppk {_ppk(found)}"
    for name, value in (("Cpk", found.cpk), ("Pp", found.pp), ("Cp", found.cp)):
        if value is not None:
            yield f"{name} {value:.2f}"


def tolerance_words(found: Tolerance, written: Scale) -> str:
    """The tolerance interval, and whether it lies inside the limits."""
    inside = "inside the limits" if found.inside_limits else "NOT inside the limits"
    share, confidence = f"{100 * found.coverage:g} %", f"{100 * found.confidence:g} %"
    howe = "" if found.howe is None else f"; Howe's: {_ends(found.howe, written)}"
    return (
        f"{share} of boards to come lie {_ends(found.exact, written)} with {confidence} confidence, {inside} (exact "
        f"factor {found.factor:.3f}{howe}); without assuming a normal distribution it takes {found.free_from} boards"
    )


def average_words(found: PartAverage, written: Scale) -> str:
    """The part average limits and which passed boards lie apart from their fellows."""
    about = f"part average limits {_ends(found.limits, written)} from {found.count:,} boards"
    if not found.found:
        return f"no passed board lies apart from its fellows; {about}"
    named = ", ".join(f"{one.serial} {written.of(one.value)}" for one in found.outliers[:_MOST_NAMED])
    more = found.found - min(_MOST_NAMED, len(found.outliers))
    return f"passed, yet apart from their fellows: {named}{f' and {more:,} more' if more else ''}; {about}"


def shift_words(shift: BatchShift, written: Scale) -> str:
    """How far a batch's mean lies from that of the batch before."""
    ends = "" if shift.interval is None else f" (95 % interval {_ends(shift.interval, written)})"
    less = "" if shift.reference is None else ", the reference board's own shift taken off"
    return (
        f"{shift.batch} against {shift.before}: mean moved by {written.of(shift.corrected)}{ends}{less}: {shift.told}"
    )


def verdicts(found: MeasurementReview) -> str:
    """Boards by verdict; verdicts that no board has are left out, but for the passed."""
    counts = (
        ("passed", found.passed),
        ("failed", found.failed),
        ("doubtful", found.doubtful),
        ("unread", found.unread),
    )
    return ", ".join(f"{count:,} {name}" for name, count in counts if count or name == "passed")


def measurement_lines(found: MeasurementReview) -> Iterator[tuple[str, str]]:
    """All that is said of a measurement besides its charts, as name and words."""
    written = scale(found)
    yield "boards", verdicts(found)
    yield "values", spread_words(found, written)
    if found.margin is not None:
        near = f"; {counted(found.margin.near)} within their uncertainty of a limit"
        yield "margin", margin_words(found.margin, written) + near
    yield "capability", capability_words(found)
    if found.apart:
        yield "not to be trusted", found.apart
    if found.tolerance is not None:
        yield "tolerance interval", tolerance_words(found.tolerance, written)
    if found.part_average is not None:
        yield "outliers", average_words(found.part_average, written)
    if found.shifts:
        yield "last batch", shift_words(found.shifts[-1], written)
    if found.limit_fit is not None:
        yield "limits", f"{found.limit_fit.fit}: {found.limit_fit.why}"


def looked_into(found: MeasurementReview) -> bool:
    """Whether a measurement was looked into closely, so that there is something to draw."""
    return bool(found.histogram or found.charts)


def pressing(board: BoardReview, count: int) -> list[MeasurementReview]:
    """Of the measurements with a chart, at most `count` whose mean is the fewest standard deviations from a limit."""
    known = [found for found in board.measurements if looked_into(found)]
    by_need = sorted(range(len(known)), key=lambda place: _need(known[place]))
    return [known[place] for place in sorted(by_need[:count])]


def _need(found: MeasurementReview) -> float:
    return math.inf if found.margin is None or found.margin.in_sd is None else found.margin.in_sd


def _ends(ends: Interval, written: Scale) -> str:
    match ends.lower, ends.upper:
        case (float() | int() as lower, float() | int() as upper):
            return f"{written.number(lower)} to {written.of(upper)}"
        case (float() | int() as lower, None):
            return f"above {written.of(lower)}"
        case (None, float() | int() as upper):
            return f"below {written.of(upper)}"
        case _:
            return "anywhere"


def _fine(size: float, written: Scale) -> str:
    """A spread or a margin in a prefix of its own: three digits tell all."""
    return scale_for([abs(size)], written.unit, [abs(size) / 10] if size else []).of(size)


def _two(number: float | None) -> str:
    return "?" if number is None else f"{number:.2f}"


def within(found: MeasurementReview) -> tuple[int, int]:
    """Which bars of a histogram lie between the limits: the first, and the one after the last."""
    lower, upper = found.what.lower, found.what.upper
    below = [lower is not None and bar.upper is not None and bar.upper <= lower for bar in found.histogram]
    above = [upper is not None and bar.lower is not None and bar.lower >= upper for bar in found.histogram]
    return sum(below), len(above) - sum(above)
