"""The figures of a review: each a drawing with a name, what it shows in words, and its numbers as a table."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from batchtest.pages import review_measured as measured
from batchtest.pages import review_words as said
from batchtest.pages.review_drawing import Row, draw
from batchtest.pages.scale import Scale
from batchtest.review.answers.model import Bar, Group, Grouping, MeasurementReview, Pareto
from batchtest.review.answers.words import many

#: Groups that are drawn a row each; more stand side by side.
_MOST_ROWS = 24
#: A table of up to so many groups stands open, and on paper.
_SHORT = 12


@dataclass(frozen=True, slots=True, kw_only=True)
class Figure:
    """A drawing and its numbers.

    Parameters
    ----------
    heading : its title where what it is of stands above it. said : what it shows, in words.
    columns, rows : the same as a table; the first column names the row.
    wide : it takes the whole width of the page. short : the table stands open, and on paper.
    """

    title: str
    heading: str
    said: str
    drawing: Markup
    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    wide: bool = False
    short: bool = False


def group_figure(board: str, grouping: Grouping, key: str) -> Figure | None:
    """First-pass yield of every group with its interval; `None` where no group has a board that was tested."""
    known = [group for group in grouping.groups if group.yields.first_pass.share is not None]
    if not known:
        return None
    heading, wide = f"First-pass yield by {grouping.by}", len(known) > _MOST_ROWS
    title = f"{board}: {heading}"
    told = f"{many(len(known), 'group')}; the dot is the share, the bar its exact 95 % interval"
    if wide:
        told += f"; in order from {known[0].name} to {known[-1].name}"
    further = _FURTHER if known[0].yields.final is not None else {}
    shares: list[Row] = [_share_row(place, group) for place, group in enumerate(known, start=1)]
    return Figure(
        title=title,
        heading=heading,
        said=told,
        drawing=draw("many shares" if wide else "shares", {"shares": shares}, key=key, title=title, said=told),
        columns=(str(grouping.by), "passed first", "first-pass yield", "95 % exact", "95 % Wilson", *further),
        rows=tuple(_group_row(group, further) for group in grouping.groups),
        wide=wide,
        short=len(grouping.groups) <= _SHORT,
    )


def _share_row(place: int, group: Group) -> Row:
    first = group.yields.first_pass
    name = f"{group.name} (n = {first.of:,})"
    return {
        "place": place,
        "name": name,
        "share": first.share,
        "lower": first.exact.lower,
        "upper": first.exact.upper,
    }


#: Heading of a column -> the figure that stands there, of groups of whole boards; a rail or load point has none.
_FURTHER = {
    "final": "final yield",
    "rolled-throughput": "rolled-throughput yield",
    "retested": "boards retested",
    "recovered": "recovered on retest",
    "stopped": "stopped",
    "refused": "refused",
}


def _group_row(group: Group, further: Mapping[str, str]) -> tuple[str, ...]:
    first, *others = said.yield_rows(group.yields)
    known = {name: share if share == said.NOTHING else f"{share} ({count})" for name, count, share, *_ in others}
    known |= {"stopped": f"{group.yields.stopped:,}", "refused": f"{group.yields.refused:,}"}
    return (group.name, *first[1:], *(known.get(name, "") for name in further.values()))


def pareto_figure(board: str, pareto: Pareto, key: str) -> Figure | None:
    """Boards by first cause; `None` where every board passed at first."""
    if not pareto.causes:
        return None
    heading = "Boards by first cause"
    title = f"{board}: {heading}"
    told = f"{pareto.boards:,} of {many(pareto.tested, 'board')} did not pass at first"
    if pareto.few:
        told += "; too few for their order to mean anything"
    causes: list[Row] = [{"name": cause.name, "boards": cause.boards} for cause in pareto.causes]
    rows = [
        (cause.name, said.counted(cause.share), said.percent(cause.share.share, cause.share.of),
         said.interval(cause.share.exact, cause.share.of), said.percent(cause.cumulative, cause.share.of))
        for cause in pareto.causes
    ]  # fmt: skip
    if pareto.other:
        other = f"other ({many(pareto.other_causes, 'cause')})"
        causes.append({"name": other, "boards": pareto.other})
        rows.append((other, f"{pareto.other:,} of {pareto.boards:,}", "", "", said.percent(1.0, pareto.boards)))
    return Figure(
        title=title,
        heading=heading,
        said=told,
        drawing=draw("causes", {"causes": causes}, key=key, title=title, said=told),
        columns=("first cause", "boards", "share", "95 % exact", "together"),
        rows=tuple(rows),
        short=True,
    )


def histogram_figure(found: MeasurementReview, written: Scale, key: str) -> Figure | None:
    """Values in classes of one width, with the limits; `None` where there are no values to be put in classes."""
    what, bars = found.what, found.histogram
    drawn = [_Class.of(bar, bars) for bar in bars]
    if not any(bar.count for bar in bars) or not all(drawn):
        return None
    heading, size = "All boards", 10.0**written.power
    title = f"{measured.whose(what, written)}: {heading}"
    first, end = measured.within(found)
    outside = sum(bar.count for bar in (*bars[:first], *bars[end:]))
    told = f"{sum(bar.count for bar in bars):,} boards, in {written.written}, limits {measured.limits(what, written)}"
    told += f"; {outside:,} outside, drawn with thick edges" if outside else "; none outside"
    rows: list[Row] = [
        {"lower": at.lower / size, "upper": at.upper / size, "count": bar.count, "outside": not first <= place < end}
        for place, (bar, at) in enumerate(zip(bars, drawn, strict=True))
        if at
    ]
    limits = (("lower", what.lower), ("upper", what.upper))
    bounds: list[Row] = [{"name": name, "value": bound / size} for name, bound in limits if bound is not None]
    return Figure(
        title=title,
        heading=heading,
        said=told,
        drawing=draw("histogram", {"bars": rows, "limits": bounds}, key=key, title=title, said=told),
        columns=("from", "to", "boards"),
        rows=tuple(_bar_cells(bar, written) for bar in bars if bar.count),
    )


@dataclass(frozen=True, slots=True)
class _Class:
    """Where a bar is drawn; an open one is given the width of its neighbours."""

    lower: float
    upper: float

    @classmethod
    def of(cls, bar: Bar, bars: Sequence[Bar]) -> _Class | None:
        width = next((b.upper - b.lower for b in bars if b.lower is not None and b.upper is not None), None)
        match (bar.lower, bar.upper, width):
            case (float() | int() as lower, float() | int() as upper, _):
                return cls(lower, upper)
            case (float() | int() as lower, None, float() | int() as wide):
                return cls(lower, lower + wide)
            case (None, float() | int() as upper, float() | int() as wide):
                return cls(upper - wide, upper)
            case _:
                return None


def _bar_cells(bar: Bar, written: Scale) -> tuple[str, ...]:
    return end_words(bar.lower, written), end_words(bar.upper, written), f"{bar.count:,}"


def end_words(bound: float | None, written: Scale) -> str:
    """One end of an interval in a table."""
    return "open" if bound is None else written.of(bound)
