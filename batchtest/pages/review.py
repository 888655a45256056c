"""The page of a review: what is worth acting on, yields with their intervals, causes, and every measurement."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from batchtest.pages import review_measured as measured
from batchtest.pages import review_words as said
from batchtest.pages import words
from batchtest.pages.render import render
from batchtest.pages.review_control import control_figure, shift_figure
from batchtest.pages.review_figures import (
    Figure,
    group_figure,
    histogram_figure,
    pareto_figure,
)
from batchtest.pages.scale import Scale
from batchtest.records.disk import on_disk, write_whole
from batchtest.review.answers.model import (
    BoardReview,
    Comparison,
    Comparisons,
    Grouping,
    MeasurementReview,
    Review,
    Told,
)
from batchtest.review.answers.words import many

#: Measurements of a board type that are drawn; the table and the CSV files have all.
MOST_DRAWN = 6
#: Comparisons that nobody can tell and that are listed all the same.
_MOST_UNTOLD = 12
#: So few pairs stand open although nobody can tell them apart.
_FEW_PAIRS = 3
#: How counts of attempts are written.
_ATTEMPTS = Scale("attempts", 0, 1)


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementRow:
    """A measurement in the table of all."""

    name: str
    limits: str
    changed: bool
    values: str
    verdicts: str
    margin: str
    capability: str
    apart: str
    fit: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementView:
    """A measurement that is drawn: what is said of it, a line each, and its figures."""

    title: str
    lines: tuple[tuple[str, str], ...]
    figures: tuple[Figure, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class GroupingView:
    """Groups of boards: their figure, and why a difference may be that of something else."""

    by: str
    figure: Figure | None
    confounded: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ComparisonView:
    """Group against group: the outcome in one sentence, and the pairs that are listed; `open` where any can be told."""

    by: str
    told: str
    rows: tuple[Comparison, ...]
    unlisted: int
    open: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardView:
    """All of one board type; `key` begins the ids of its headings, `others` are measurements without a chart."""

    key: str
    review: BoardReview
    yields: tuple[said.YieldRow, ...]
    stops: str
    groupings: tuple[GroupingView, ...]
    comparisons: tuple[ComparisonView, ...]
    pareto: Figure | None
    stop_figure: Figure | None
    rows: tuple[MeasurementRow, ...]
    others: tuple[MeasurementRow, ...]
    drawn: tuple[MeasurementView, ...]


def review_page(review: Review) -> str:
    """One HTML file: no network, no script; charts are still drawings with their numbers beside them; prints on A4."""
    looked = review.looked
    return render(
        "review.html",
        {
            "foot": f"review of {said.looked(looked)}{' (WAIVER)' * bool(looked.waived)}",
            "simulated": looked.simulated,
            "review": review,
            "looked": said.looked(looked),
            "made": review.made[:16].replace("T", " "),
            "waived": many(looked.waived, "attempt") if looked.waived else "",
            "boards": tuple(_board(board, f"b{place}") for place, board in enumerate(review.boards)),
            "most_drawn": MOST_DRAWN,
            "words": said,
            "disclaimer": words.DISCLAIMER,
        },
    )


def write_review_page(path: Path, text: str) -> None:
    """Write the page, whole or not at all; makes its folder.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    with on_disk(f"{path} cannot be written"):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text)


def _board(board: BoardReview, key: str) -> BoardView:
    stops = board.stop_chart
    closely = [found for found in board.measurements if measured.looked_into(found)]
    return BoardView(
        key=key,
        review=board,
        yields=tuple(said.yield_rows(board.yields)),
        stops=said.stops(board.yields),
        groupings=tuple(_grouping(board.board, one, f"{key}-g{place}") for place, one in enumerate(board.groupings)),
        comparisons=tuple(_comparisons(one) for one in board.comparisons),
        pareto=pareto_figure(board.board, board.pareto, f"{key}-causes"),
        stop_figure=None if stops is None else control_figure(board.board, stops, _ATTEMPTS, f"{key}-stops"),
        rows=tuple(_row(found) for found in closely or board.measurements),
        others=tuple(_row(found) for found in board.measurements if closely and not measured.looked_into(found)),
        drawn=tuple(
            _drawn(found, f"{key}-m{place}") for place, found in enumerate(measured.pressing(board, MOST_DRAWN))
        ),
    )


def _grouping(board: str, grouping: Grouping, key: str) -> GroupingView:
    return GroupingView(by=str(grouping.by), figure=group_figure(board, grouping, key), confounded=grouping.confounded)


def _comparisons(found: Comparisons) -> ComparisonView:
    """Those that can be told, and the first of the others."""
    told = [one for one in found.compared if one.told is not Told.CANNOT_TELL]
    untold = [one for one in found.compared if one.told is Told.CANNOT_TELL]
    listed = (*told, *untold[:_MOST_UNTOLD])
    return ComparisonView(
        by=str(found.by),
        told=found.told,
        rows=listed,
        unlisted=len(found.compared) - len(listed),
        open=bool(told) or len(listed) <= _FEW_PAIRS,
    )


def _row(found: MeasurementReview) -> MeasurementRow:
    written = measured.scale(found)
    return MeasurementRow(
        name=found.what.name,
        limits=measured.limits(found.what, written),
        changed=found.what.changed,
        values=measured.spread_words(found, written),
        verdicts=measured.verdicts(found),
        margin="" if found.margin is None else measured.margin_words(found.margin, written),
        capability=measured.capability_words(found),
        apart=found.apart,
        fit="" if found.limit_fit is None else str(found.limit_fit.fit),
        why="" if found.limit_fit is None else found.limit_fit.why,
    )


def _drawn(found: MeasurementReview, key: str) -> MeasurementView:
    written = measured.scale(found)
    return MeasurementView(
        title=measured.whose(found.what, written),
        lines=tuple(measured.measurement_lines(found)),
        figures=tuple(_figures(found, key)),
    )


def _figures(found: MeasurementReview, key: str) -> Iterator[Figure]:
    written = measured.scale(found)
    name = measured.whose(found.what, written)
    figures = [histogram_figure(found, written, f"{key}-h")]
    figures += [control_figure(name, chart, written, f"{key}-c{place}") for place, chart in enumerate(found.charts)]
    figures.append(shift_figure(found, written, f"{key}-s"))
    yield from (figure for figure in figures if figure is not None)
