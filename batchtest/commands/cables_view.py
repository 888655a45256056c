"""A library of cables in a terminal: the matrix of each host, what a wrong cable does, what tells two apart."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from batchtest.commands.marks import DANGER
from batchtest.commands.screen import clean
from batchtest.pages import cable_words as said
from batchtest.pages.cores import id_words
from batchtest.quantities import write

if TYPE_CHECKING:
    from batchtest.cables.apart import Pair
    from batchtest.cables.report import Cell, Report
    from batchtest.cables.stress import Stressed

#: Shape of a cell's verdict, and the one of plain letters; the word always stands beside it.
_SHAPES = {said.FITS: ("✔", "+"), said.HARMLESS: ("≠", "~"), said.DESTROYS: ("▲", "!")}
_STYLES = {said.FITS: "", said.HARMLESS: "bold", said.DESTROYS: DANGER}
#: What a board's column and the column of cables take, in characters.
_CELL, _CABLE = 28, 16


class CablesView:
    """Prints a report so that nothing is cut off, in plain letters where the terminal has no others."""

    def __init__(self, report: Report, console: Console) -> None:
        self._report, self._console = report, console

    def show(self) -> None:
        """Print everything; what matters most comes last, where the eye is."""
        for host in dict.fromkeys(cell.host for cell in self._report.cells):
            self._matrices([cell for cell in self._report.cells if cell.host == host])
        self._wrong()
        for at in dict.fromkeys((pair.fixture, pair.board) for pair in self._report.pairs):
            self._apart([pair for pair in self._report.pairs if (pair.fixture, pair.board) == at])
        self._proposals()
        self._blind()
        self._library()
        self._heading("In short")
        for text, verdict in said.findings(self._report):
            self._line(f"{self._shape(verdict)} {text}", _STYLES[verdict])

    def _matrices(self, cells: Sequence[Cell]) -> None:
        """The cells of one host; as many boards side by side as fit."""
        boards = list(dict.fromkeys(cell.board for cell in cells))
        abreast = max(1, (self._console.width - _CABLE) // _CELL)
        self._heading(f"Plugged into host {cells[0].host}")
        for start in range(0, len(boards), abreast):
            together = boards[start : start + abreast]
            table = self._table("cable", *(f"board {board}" for board in together))
            for cable in dict.fromkeys(cell.cable for cell in cells):
                found = {cell.board: cell for cell in cells if cell.cable == cable}
                table.add_row(self._text(cable, "bold"), *(self._cell(found[board]) for board in together))
            self._console.print(table)

    def _cell(self, cell: Cell) -> Text:
        return self._text(f"{self._shape(cell.verdict)} {said.cell_words(cell)}", _STYLES[cell.verdict])

    def _wrong(self) -> None:
        """Every combination that does not fit, what destroys first."""
        for verdict in (said.DESTROYS, said.HARMLESS):
            for cell in said.wrong_cells(self._report, verdict):
                self._console.print()
                self._line(f"{self._shape(verdict)} {said.heading(cell)}", _STYLES[verdict])
                for line in _wrong_lines(cell):
                    self._line(line, indent=3)

    def _apart(self, pairs: Sequence[Pair]) -> None:
        """The best reading of each pair at one fixture with one board; loud where it is not enough."""
        self._heading(f"Told apart at fixture {pairs[0].fixture} with board {pairs[0].board}")
        table = self._table("cables", "best reading", "reads", "by instrument", "distance")
        for pair in pairs:
            best = pair.readings[0]
            values = [said.value_words(value, best) for value in (best.one, best.other)]
            distance = self._text(said.distance_words(best.distance), "bold" if pair.apart else DANGER)
            table.add_row(
                self._text(f"{pair.one}\n{pair.other}", "bold"),
                self._text(said.reading_words(best)),
                self._text("\n".join(values)),
                self._text(said.distance_words(best.by_instrument)),
                distance,
            )
        self._console.print(table)
        self._line(
            "Distances in expanded uncertainties U, the last with tolerance, contacts and 18 to 28 C. Over range is a "
            "value too: hardly any test current flows.",
            "dim",
        )
        for pair in pairs:
            if not pair.apart:
                self._line(f"{self._shape(said.DESTROYS)} {said.not_apart_words(pair)}", DANGER)
                for cure in said.cures(pair, self._report.proposals):
                    self._line(f"cure: {cure}", indent=3)

    def _proposals(self) -> None:
        if self._report.proposals:
            self._heading("Id resistors that would keep all cables apart")
            for proposal in self._report.proposals:
                self._line(said.cure_words(proposal))

    def _blind(self) -> None:
        self._heading("Wiring faults inside a cable that no reading sees")
        for place, harmful, harmless in said.blind_places(self._report):
            self._line(place, "bold")
            for blind in harmful:
                self._line(f"{self._shape(said.DESTROYS)} {blind.fault}: {blind.harm}", _STYLES[said.DESTROYS])
                self._line(f"cure: {blind.cure}", indent=3)
            if harmless:
                self._line(f"{self._shape(said.HARMLESS)} without harm: {'; '.join(harmless)}")
        if not self._report.blind:
            self._line("none")

    def _library(self) -> None:
        self._heading("The library")
        table = self._table("cable", "boards", "length", "owner", "connectors", "id resistor")
        for name, cable in self._report.cables.items():
            matings = self._text(said.mating_words(cable), DANGER if said.worn(cable) else "")
            facts = (", ".join(cable.takes), write(cable.length, "m"), cable.owner or "not known")
            table.add_row(self._text(name, "bold"), *map(self._text, facts), matings, self._text(id_words(cable)))
        self._console.print(table)

    def _table(self, *columns: str) -> Table:
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
        for column in columns:
            table.add_column(column, overflow="fold")
        return table

    def _shape(self, verdict: str) -> str:
        return _SHAPES[verdict][self._console.options.ascii_only]

    def _heading(self, text: str) -> None:
        self._console.print()
        self._line(text, "bold underline")

    def _line(self, text: str, style: str = "", indent: int = 0) -> None:
        self._console.print(Padding(self._text(text, style), (0, 0, 0, indent), expand=False))

    def _text(self, text: str, style: str = "") -> Text:
        shown = "\n".join(clean(line) for line in text.split("\n"))
        if self._console.options.ascii_only:
            shown = shown.encode("ascii", "replace").decode()
        return Text(shown, style, overflow="fold")


def _wrong_lines(cell: Cell) -> Iterator[str]:
    """What a wrong cable does, a line each."""
    yield from (difference.in_words() for difference in cell.differences)
    yield from (_stress_line(cell, stressed) for stressed in cell.damage.stressed)
    for cascade in cell.damage.next:
        then = [_stress_line(cell, stressed) for stressed in cascade.stressed]
        then += [f"cannot tell, no operating point: {state}" for state in cascade.unsolved]
        yield f"{said.then_words(cascade)}{': ' if then else ''}{'; '.join(then)}"
    yield from (f"goes astray: {astray}" for astray in cell.damage.astray)
    yield from (f"cannot tell, no operating point: {state}" for state in cell.damage.unsolved)


def _stress_line(cell: Cell, stressed: Stressed) -> str:
    brought = said.brought_words(stressed, cell.differences)
    return f"{said.stress_words(stressed)}{f', brought by {brought}' if brought else ''} ({stressed.state})"
