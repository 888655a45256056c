"""The figures of a review in order of time: charts of control, and how far each batch moved from the one before."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.pages import review_measured as measured
from batchtest.pages.review_drawing import Row, draw
from batchtest.pages.review_figures import Figure, end_words
from batchtest.pages.scale import Scale
from batchtest.review.answers.model import BatchShift, Chart, ChartPoint, MeasurementReview
from batchtest.review.answers.words import many

#: Points that are drawn, the last ones; JSON and the CSV files have all.
_LATEST = 100
#: Points, or batches, below which a drawing in order of time says nothing.
_FEWEST = 3
#: Kinds of charts with a point for each board; others have one for each batch.
_OF_BOARDS = ("individuals", "moving range", "weighted mean")
#: A drawing whose wording would need more than this many names of points says how many there are instead.
_MOST_NAMED = 4


def control_figure(of: str, chart: Chart, written: Scale, key: str) -> Figure | None:
    """A chart of control of something; `None` with so few points that no order can be seen."""
    points = chart.points[-_LATEST:]
    if len(points) < _FEWEST:
        return None
    heading, size = chart.title, 10.0**written.power
    title = f"{of}: {heading}"
    last = f", the last of {len(chart.points):,}" if len(chart.points) > len(points) else ""
    rows: list[Row] = [_point_row(place, point, size) for place, point in enumerate(points, start=1)]
    odd = [place for place, point in enumerate(points) if point.signals]
    told = f"in order of time, {many(len(rows), 'point')} in {written.written}{last}; "
    told += f"centre {written.of(chart.centre)}; {_signals([points[place].label for place in odd])}"
    told += f"; {chart.note}" if chart.note else ""
    centre: list[Row] = [{"value": chart.centre / size}]
    data = {"points": rows, "signals": [rows[place] for place in odd], "centre": centre}
    return Figure(
        title=title,
        heading=heading,
        said=told,
        drawing=draw("control", data, key=key, title=title, said=told),
        columns=("board" if chart.kind in _OF_BOARDS else "of", "batch", "value", "n", "control limits", "run rules"),
        rows=tuple(_point_cells(point, written) for point in points),
    )


def _point_row(place: int, point: ChartPoint, size: float) -> Row:
    ends = {name: None if end is None else end / size for name, end in (("lower", point.lower), ("upper", point.upper))}
    return {"place": place, "value": point.value / size, **ends}


def _point_cells(point: ChartPoint, written: Scale) -> tuple[str, ...]:
    rules = "; ".join(f"{signal.rule}: {signal.words}" for signal in point.signals)
    ends = f"{end_words(point.lower, written)} to {end_words(point.upper, written)}"
    return point.label, point.batch, written.of(point.value), f"{point.count:,}", ends, rules


def _signals(labels: Sequence[str]) -> str:
    if not labels:
        return "no run rule is met"
    more = f" and {len(labels) - _MOST_NAMED} more" if len(labels) > _MOST_NAMED else ""
    return f"a run rule is met at {', '.join(labels[:_MOST_NAMED])}{more}, drawn as diamonds"


def shift_figure(found: MeasurementReview, written: Scale, key: str) -> Figure | None:
    """How far each batch's mean moved from the one before; `None` with so few batches that no order can be seen."""
    shifts = found.shifts
    if len(shifts) < _FEWEST - 1:
        return None
    heading, size = "From batch to batch", 10.0**written.power
    title = f"{measured.whose(found.what, written)}: {heading}"
    told = f"from {shifts[0].before} to {shifts[-1].batch}, shift of the mean with its 95 % interval, {written.written}"
    bare = sum(shift.reference is None for shift in shifts)
    if bare:
        told += f"; for {bare} of {len(shifts)} no reference board was measured: the bench's own drift is in them"
    rows: list[Row] = [_shift_row(place, shift, size) for place, shift in enumerate(shifts, start=1)]
    return Figure(
        title=title,
        heading=heading,
        said=told,
        drawing=draw("shifts", {"shifts": rows, "centre": [{"value": 0}]}, key=key, title=title, said=told),
        columns=("batch", "n", "mean", "shift", "reference's", "corrected", "95 %", "told"),
        rows=tuple(_shift_cells(shift, written) for shift in shifts),
    )


def _shift_row(place: int, shift: BatchShift, size: float) -> Row:
    """Without an interval the bar has no length."""
    known = shift.interval
    ends = (shift.corrected, shift.corrected) if known is None else (known.lower, known.upper)
    lower, upper = (None if end is None else end / size for end in ends)
    return {"place": place, "value": shift.corrected / size, "lower": lower, "upper": upper}


def _shift_cells(shift: BatchShift, written: Scale) -> tuple[str, ...]:
    ends = shift.interval
    return (
        f"{shift.batch} after {shift.before}",
        f"{shift.count:,}",
        written.of(shift.mean),
        written.of(shift.shift),
        "not measured" if shift.reference is None else written.of(shift.reference),
        written.of(shift.corrected),
        "" if ends is None else f"{end_words(ends.lower, written)} to {end_words(ends.upper, written)}",
        shift.told,
    )
