"""What a wrong cable would do, as the page of cables shows it: a matrix for each host, and details of what is wrong."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from batchtest.files.library import Library
from batchtest.pages import cable_words as said
from batchtest.pages.cores import NamedCable, ends_of
from batchtest.pages.marks import mark
from batchtest.pages.pin_drawing import pair_drawing
from batchtest.quantities import show

if TYPE_CHECKING:
    from batchtest.cables.report import Cell, Report
    from batchtest.cables.stress import Stressed

#: A crossed equals sign, and a warning triangle.
_SHAPES = {
    said.HARMLESS: '<rect x="2" y="2" width="20" height="20" rx="3" class="ring"/>'
    '<path d="M7 9.5h10M7 14.5h10M15.5 5.5l-7 13" class="stroke"/>',
    said.DESTROYS: '<path d="M12 2.2L23 21.6H1z" class="ink-danger"/><path d="M12 9v6m0 3v.1" class="cut-danger"/>',
}


@dataclass(frozen=True, slots=True, kw_only=True)
class CellView:
    """One cell of a matrix. `anchor` is where its details stand, or empty."""

    mark: Markup
    text: str
    verdict: str
    anchor: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Matrix:
    """One host: its boards across, its cables down."""

    host: str
    boards: tuple[str, ...]
    rows: tuple[tuple[str, tuple[CellView, ...]], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Then:
    """What becomes of the rest once some parts have burned open."""

    after: str
    stressed: tuple[tuple[str, ...], ...]
    astray: tuple[str, ...]
    unsolved: tuple[str, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Wrong:
    """A combination that is not the right one: what burns, what burns next, what goes astray.

    `right` is the cable that belongs there, which `drawing` shows it against; both are empty where nothing burns.
    """

    anchor: str
    title: str
    cable: str
    mark: Markup
    verdict: str
    right: str
    drawing: Markup
    wires: tuple[str, ...]
    stressed: tuple[tuple[str, ...], ...]
    next: tuple[Then, ...]
    astray: tuple[str, ...]
    unsolved: tuple[str, ...]


def cell_mark(verdict: str) -> Markup:
    """Shape of a cell's verdict, silent for screen readers since the word stands beside it.

    Raises
    ------
    KeyError : there is no such verdict.
    """
    if verdict == said.FITS:
        return mark("pass")
    return Markup('<svg class="mark" viewBox="0 0 24 24" aria-hidden="true" focusable="false">{}</svg>').format(
        Markup(_SHAPES[verdict])
    )


def _anchors(report: Report) -> dict[int, str]:
    """Where the details of each wrong cell stand, by its place in the report."""
    return {at: f"wrong-{at}" for at, cell in enumerate(report.cells) if cell.verdict != said.FITS}


def matrices(report: Report) -> Iterator[Matrix]:
    anchors = _anchors(report)
    for host in dict.fromkeys(cell.host for cell in report.cells):
        cells = {
            (cell.cable, cell.board): _cell(cell, anchors.get(at, ""))
            for at, cell in enumerate(report.cells)
            if cell.host == host
        }
        boards = tuple(dict.fromkeys(board for _, board in cells))
        rows = tuple(
            (cable, tuple(cells[cable, board] for board in boards))
            for cable in dict.fromkeys(cable for cable, _ in cells)
        )
        yield Matrix(host=host, boards=boards, rows=rows)


def _cell(cell: Cell, anchor: str) -> CellView:
    return CellView(mark=cell_mark(cell.verdict), text=said.cell_words(cell), verdict=cell.verdict, anchor=anchor)


def wrong_cells(report: Report, library: Library) -> Iterator[Wrong]:
    """The cells that do not fit, what destroys first."""
    anchors = _anchors(report)
    for at in sorted(anchors, key=lambda at: report.cells[at].verdict != said.DESTROYS):
        cell = report.cells[at]
        right = said.right_cable(report, cell) if cell.verdict == said.DESTROYS else ""
        yield Wrong(
            anchor=anchors[at],
            title=said.heading(cell),
            cable=cell.cable,
            mark=cell_mark(cell.verdict),
            verdict=cell.verdict,
            right=right,
            drawing=_against(report, library, cell, right, f"{anchors[at]}-pins") if right else Markup(""),
            wires=tuple(difference.in_words() for difference in cell.differences),
            stressed=tuple(_stress_rows(cell, cell.damage.stressed)),
            next=tuple(_then(cell)),
            astray=cell.damage.astray,
            unsolved=cell.damage.unsolved,
        )


def _against(report: Report, library: Library, cell: Cell, right: str, name: str) -> Markup:
    """The cable of a cell over the one that belongs there."""
    one, other = (NamedCable(known, report.cables[known]) for known in (right, cell.cable))
    return pair_drawing(one, other, ends_of(library, [cell.host], [cell.board]), name)


def _then(cell: Cell) -> Iterator[Then]:
    """What happens next; what goes astray just as before is not told again."""
    told: tuple[str, ...] = ()
    for cascade in cell.damage.next:
        again = bool(cascade.astray) and cascade.astray == told
        told = cascade.astray
        yield Then(
            after=said.then_words(cascade),
            stressed=tuple(_stress_rows(cell, cascade.stressed)),
            astray=("as before",) if again else cascade.astray,
            unsolved=cascade.unsolved,
        )


def _stress_rows(cell: Cell, stressed: Sequence[Stressed]) -> Iterator[tuple[str, ...]]:
    for one in stressed:
        values = (show(one.stress, one.unit, 4), show(one.rating, one.unit, 4), said.ratio_words(one))
        yield one.part, one.quantity, *values, said.brought_words(one, cell.differences), one.state
