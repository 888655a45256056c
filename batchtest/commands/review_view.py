"""A review in a terminal: short enough to be read at once, with what is worth acting on last, where the eye is."""

from __future__ import annotations

from typing import TYPE_CHECKING

from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from batchtest.commands.marks import DANGER, TAPE, WAIVED
from batchtest.commands.screen import SIMULATED, clean
from batchtest.pages import review_measured as measured
from batchtest.pages import review_words as said
from batchtest.review.answers.model import Told
from batchtest.review.answers.words import many

if TYPE_CHECKING:
    from rich.console import Console

    from batchtest.review.answers.model import BoardReview, Comparisons, Grouping, MeasurementReview, Review, Share

#: Blocks from nothing to full, and what a terminal of plain letters shows instead.
_BLOCKS, _PLAIN_BLOCKS = " ▁▂▃▄▅▆▇█", " .:-=+*%#"
#: Rows of a table; the page and the CSV files have all.
_GROUPS, _CAUSES, _MEASUREMENTS, _PAIRS, _LEFT_OUT = 12, 6, 10, 5, 5
#: Characters of a drawn interval, of a histogram and of a row of groups.
_INTERVAL, _HISTOGRAM = 21, 16
#: A screen as wide as this has room for the margin of each measurement.
_ROOMY = 110


class ReviewView:
    """Prints a review; every figure stands with its interval, and what is not known is said."""

    def __init__(self, review: Review, console: Console) -> None:
        self._review, self._console = review, console
        self._blocks = _PLAIN_BLOCKS if console.options.ascii_only else _BLOCKS

    def show(self) -> None:
        """Print everything."""
        looked = self._review.looked
        if looked.simulated:
            self._line(SIMULATED, "bold")
        if looked.waived:
            waived = many(looked.waived, "attempt")
            self._line(f"{TAPE} WAIVED {TAPE} {waived} under a waiver; their pages say what", WAIVED)
        self._line(said.looked(looked))
        for condition in looked.where:
            self._line(f"only {condition}")
        for board in self._review.boards:
            self._board(board)
        self._apart()
        self._acting()

    def _board(self, board: BoardReview) -> None:
        self._heading(f"Board {board.board}")
        table = self._table("", "counted", "share", "95 % interval")
        for name, count, share, exact, wilson in said.yield_rows(board.yields):
            table.add_row(*map(self._text, (name, count, share, exact or f"{wilson} (Wilson)" if wilson else "")))
        self._console.print(table)
        self._line(f"in no yield: {said.stops(board.yields)}", "dim")
        for grouping in board.groupings:
            self._grouping(grouping)
        for compared in board.comparisons:
            self._compared(compared)
        self._causes(board)
        self._repaired(board)
        self._doubts(board)
        self._measurements(board)

    def _grouping(self, grouping: Grouping) -> None:
        """The last groups a row each with its interval drawn; all of them as one row of blocks."""
        groups = grouping.groups[-_GROUPS:]
        if not groups:
            return
        self._heading(f"First-pass yield by {grouping.by}")
        table = self._table(str(grouping.by), "first pass", "share", "95 % exact", "0 % to 100 %")
        for group in groups:
            first = group.yields.first_pass
            known = (said.interval(first.exact, first.of), self._interval(first)) if first.of else ("", "")
            cells = (said.counted(first), said.percent(first.share, first.of), *known)
            table.add_row(self._text(group.name, "bold"), *map(self._text, cells))
        self._console.print(table)
        if (more := len(grouping.groups) - len(groups)) > 0:
            shares = [round(100 * (group.yields.first_pass.share or 0.0)) for group in grouping.groups]
            self._line(f"all {len(shares)}, 0 to 100 %: {said.shapes([*shares, 100], self._blocks)[:-1]}")
            self._line(f"{more} earlier ones are not listed here; --page has all", "dim")
        if grouping.confounded:
            self._line(grouping.confounded)

    def _interval(self, share: Share) -> str:
        """A share as a mark on its interval."""
        ends = (share.exact.lower or 0.0, share.share or 0.0, share.exact.upper or 0.0)
        at = [round((_INTERVAL - 1) * end) for end in ends]
        line, mark = ("-", "o") if self._console.options.ascii_only else ("─", "●")
        return "".join(
            mark if place == at[1] else line if at[0] <= place <= at[2] else " " for place in range(_INTERVAL)
        )

    def _compared(self, compared: Comparisons) -> None:
        self._line(compared.told)
        told = [one for one in compared.compared if one.told is not Told.CANNOT_TELL]
        for one in told[:_PAIRS]:
            self._line(said.told_words(one), indent=2)
        if len(told) > _PAIRS:
            self._line(f"and {len(told) - _PAIRS} more; --page has all", "dim", indent=2)

    def _causes(self, board: BoardReview) -> None:
        pareto = board.pareto
        if not pareto.causes:
            return
        self._heading(f"What failed first: {pareto.boards:,} of {many(pareto.tested, 'board')}")
        table = self._table("boards", "first cause", "share", "95 % exact")
        for cause in pareto.causes[:_CAUSES]:
            share = cause.share
            cells = (cause.name, said.percent(share.share, share.of), said.interval(share.exact, share.of))
            table.add_row(self._text(f"{cause.boards:,}", "bold"), *map(self._text, cells))
        rest = pareto.other + sum(cause.boards for cause in pareto.causes[_CAUSES:])
        if rest:
            table.add_row(self._text(f"{rest:,}", "bold"), self._text("other"))
        self._console.print(table)
        if pareto.few:
            self._line("too few for their order to mean anything", "dim")

    def _repaired(self, board: BoardReview) -> None:
        """What repairs taught of the parts that cured most boards."""
        if not board.repaired:
            return
        self._heading("What repairs taught")
        table = self._table(*said.REPAIRED)
        for figures in board.repaired[:_CAUSES]:
            table.add_row(*map(self._text, said.repaired_row(figures)))
        self._console.print(table)
        if (more := len(board.repaired) - _CAUSES) > 0:
            self._line(f"{many(more, 'part')} more; --page and --csv have all", "dim")

    def _doubts(self, board: BoardReview) -> None:
        for doubt in board.doubts:
            where = f", most at {', '.join(doubt.where)}" if doubt.where else ""
            self._line(f"doubtful or unread, {doubt.reason}: {many(doubt.readings, 'reading')}{where}")
        for stop in board.stops[:_CAUSES]:
            self._line(f"{stop.outcome}, {many(stop.attempts, 'attempt')}: {stop.cause}")

    def _measurements(self, board: BoardReview) -> None:
        """Those nearest to their limits, with the histogram between them."""
        drawn = measured.pressing(board, _MEASUREMENTS)
        if not drawn:
            return
        self._heading("Nearest to their limits")
        roomy = self._console.width >= _ROOMY
        columns = ("measurement", "limits", "all boards", "Ppk (95 %)", *(["worst"] if roomy else []))
        table = self._table(*columns)
        for found in drawn:
            table.add_row(*self._measurement(found, roomy))
        self._console.print(table)
        if any(found.apart for found in drawn):
            self._line("! not to be trusted: values lie far from all others; --page says how far", "dim")
        if len(board.measurements) > len(drawn):
            self._line(f"{len(board.measurements) - len(drawn)} more; --page and --csv have all", "dim")

    def _measurement(self, found: MeasurementReview, roomy: bool) -> list[Text]:
        written = measured.scale(found)
        limits = measured.limits(found.what, written) + (" (changed)" if found.what.changed else "")
        margin = [self._text(measured.margin_short(found.margin, written) if found.margin else "")] if roomy else []
        return [
            self._text(found.what.name, "bold"),
            self._text(limits),
            self._text(self._histogram(found)),
            self._text(f"{measured.ppk_words(found)}{' !' if found.apart else ''}"),
            *margin,
        ]

    def _histogram(self, found: MeasurementReview) -> str:
        """Boards over the whole span that was read, the limits as bars between which they should lie."""
        counts = [bar.count for bar in found.histogram]
        if not any(counts):
            return ""
        lower, upper = measured.within(found)
        parts = (counts[:lower], counts[lower:upper], counts[upper:])
        widths = (1, _HISTOGRAM, 1)
        together = [said.gathered(part, width) for part, width in zip(parts, widths, strict=True)]
        drawn = said.shapes([count for part in together for count in part], self._blocks)
        ends = (len(together[0]), len(together[0]) + len(together[1]))
        return f"{drawn[: ends[0]]}|{drawn[ends[0] : ends[1]]}|{drawn[ends[1] :]}"

    def _apart(self) -> None:
        """What was kept apart, and what is in no number."""
        left_out = self._review.looked.left_out
        if not (self._review.notices or left_out):
            return
        self._heading("Kept apart, or left out")
        for notice in self._review.notices:
            self._line(notice)
        for left in left_out[:_LEFT_OUT]:
            self._line(f"{left.name}: {left.why}", DANGER)
        if len(left_out) > _LEFT_OUT:
            self._line(f"and {len(left_out) - _LEFT_OUT} more; --page and --json name all", DANGER)

    def _acting(self) -> None:
        self._heading("Worth acting on first")
        for number, advice in enumerate(self._review.worth_acting_on, start=1):
            self._line(f"{number}. {advice.sentence}", "bold")
        if not self._review.worth_acting_on:
            self._line("nothing here asks for action")

    def _table(self, *columns: str) -> Table:
        table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
        for column in columns:
            table.add_column(column, overflow="fold")
        return table

    def _heading(self, text: str) -> None:
        self._console.print()
        self._line(text, "bold underline")

    def _line(self, text: str, style: str = "", indent: int = 0) -> None:
        self._console.print(Padding(self._text(text, style), (0, 0, 0, indent), expand=False))

    def _text(self, text: str, style: str = "") -> Text:
        shown = clean(text)
        if self._console.options.ascii_only:
            shown = shown.replace("≥", ">=").replace("≤", "<=").encode("ascii", "replace").decode()
        return Text(shown, style, overflow="fold")
