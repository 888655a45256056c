"""The live screen: where the batch is, what is being done, each rail as it is read, and a verdict to see from afar."""

from __future__ import annotations

import time
from collections import Counter
from collections.abc import Iterator, Sequence
from pathlib import Path
from threading import RLock
from types import TracebackType
from typing import TYPE_CHECKING, Self, TextIO

from rich.console import Console, Group, RenderableType
from rich.live import Live
from rich.padding import Padding
from rich.progress_bar import ProgressBar
from rich.spinner import Spinner
from rich.table import Table
from rich.text import Text

from batchtest.commands.board_view import BoardView, described, newest
from batchtest.commands.letters import large
from batchtest.commands.marks import DANGER, STYLES, WAIVED, marked
from batchtest.commands.screen import (
    SIMULATED,
    causes_said,
    changes,
    clean,
    read_answer,
    result_line,
    summary_lines,
    taped,
)
from batchtest.nouns import Attempt, Line, Outcome, Verdict, Waiver
from batchtest.pages.words import next_steps, safety, was_powered

if TYPE_CHECKING:
    from batchtest.procedure.actions import Action
    from batchtest.records.batch import BatchSummary

_BLUE = "#3d8fe0"
#: So many lines of likely causes stand below a verdict; all are printed above everything.
_CAUSES = 3


class LiveScreen:
    """Drawn anew eight times a second by a thread of rich; every change is made under one lock."""

    def __init__(self, stream: TextIO, console: Console | None = None) -> None:
        self._console = console or Console(file=stream, highlight=False)
        self._lock = RLock()
        self._heading = ""
        self._simulated = False
        self._total = 0
        self._waivers: tuple[Waiver, ...] = ()
        self._counts: Counter[Outcome] = Counter()
        self._tested: set[str] = set()
        self._board: BoardView | None = None
        self._next: BoardView | None = None
        self._closed: Attempt | None = None
        self._page: Path | None = None
        self._causes: tuple[str, ...] = ()
        self._action = ""
        self._expected_s = 0.0
        self._ends = 0.0
        self._live = self._new_live()

    def __enter__(self) -> Self:
        self._live.start()
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Stop drawing; what was printed above stays."""
        self._live.stop()

    def start_batch(
        self, *, board: str, batch: str, bench: str, serials_total: int, simulated: bool, cautions: tuple[str, ...] = ()
    ) -> None:
        """Set the heading; print the cautions once, above everything."""
        with self._lock:
            self._heading = clean(f"{board}   batch {batch}   bench {bench}")
            self._simulated, self._total = simulated, serials_total
        for caution in cautions:
            self._print(f"caution: {caution}", "dim")

    def show_waivers(self, waivers: tuple[Waiver, ...]) -> None:
        """Keep them at the top of the screen; print above everything what came and what is over."""
        for text in changes(self._waivers, waivers):
            self._print(text, WAIVED)
        with self._lock:
            self._waivers = waivers

    def start_attempt(self, serial: str, attempt: int, seconds_expected: float) -> None:
        """Say whose turn it is; the last verdict stays until something is done to the new board."""
        with self._lock:
            self._next, self._expected_s = BoardView(clean(serial), attempt, self._waivers), seconds_expected

    def start_action(self, action: Action, seconds_left: float) -> None:
        """Show what is being done, and set the time left right."""
        with self._lock:
            self._turn()
            self._action, self._ends = clean(action.title), time.monotonic() + seconds_left

    def show_line(self, line: Line) -> None:
        """Put a reading into the table."""
        with self._lock:
            self._turn()
            if self._board is not None:
                self._board.add(line)

    def close_attempt(self, attempt: Attempt, page: Path | None) -> None:
        """Show the verdict large, and keep a line of it above."""
        with self._lock:
            self._turn()
            self._counts[attempt.outcome] += 1
            self._tested.add(attempt.serial)
            self._closed, self._page, self._causes = attempt, page, ()
        shape, style = marked(attempt.outcome.value, ascii_only=self._ascii)
        self._print(f"{shape.split()[0]} {result_line(attempt)}", style)
        for waiver in self._waivers:
            self._print(taped(waiver), WAIVED)

    def show_causes(self, serial: str, lines: Sequence[str]) -> None:
        """Print them above everything, and keep them below the verdict while that is in sight."""
        for text in causes_said(serial, lines):
            self._print(text)
        with self._lock:
            if self._closed is not None and self._closed.serial == serial:
                self._causes = tuple(lines[:_CAUSES])

    def end_batch(self, summary: BatchSummary) -> None:
        """Print how the batch went."""
        for text in summary_lines(summary):
            self._print(text)

    def message(self, text: str) -> None:
        """Print it above everything."""
        self._print(text, "bold")

    def ask(self, prompt: str) -> str:
        """Ask below the screen as it stands, a verdict included, and go on below the answer."""
        self._live.transient = False
        self._live.stop()
        try:
            return read_answer(prompt, self._console.file)
        finally:
            self._live = self._new_live()
            self._live.start()

    def render(self) -> RenderableType:
        """Draw the whole screen as it stands now."""
        with self._lock:
            return Group(*self._parts())

    def _turn(self) -> None:
        """Give the screen to the next board, if there is one."""
        if self._next is not None:
            self._board, self._next, self._closed, self._page = self._next, None, None, None
            self._causes = ()

    def _new_live(self) -> Live:
        return Live(get_renderable=self.render, console=self._console, refresh_per_second=8, transient=True)

    @property
    def _ascii(self) -> bool:
        return self._console.options.ascii_only

    def _print(self, text: str, style: str = "") -> None:
        self._console.print(Text(clean(text), style=style))

    def _parts(self) -> Iterator[RenderableType]:
        if self._simulated:
            yield Text(SIMULATED, style="reverse bold", justify="center")
        for waiver in self._waivers:
            yield Padding(Text(clean(taped(waiver))), style=WAIVED, expand=True)
        yield from self._heading_lines()
        if self._closed is not None:
            yield from self._verdict(self._closed)
        elif self._board is not None:
            yield from self._running(self._board)
        if self._board is not None:
            yield Text("")
            yield self._board.phases(ascii_only=self._ascii)
            if self._board.outlet is not None:
                yield Text(clean(newest(self._board.outlet)), style="bold", no_wrap=True, overflow="ellipsis")
            if self._board.rails:
                yield self._board.table(self._console.width, ascii_only=self._ascii)

    def _heading_lines(self) -> Iterator[RenderableType]:
        done = len(self._tested)
        total = f" of {self._total}" if self._total else ""
        yield _two_ends(Text(self._heading, style="bold"), Text(f"boards done: {done}{total}"))
        tally = Text(no_wrap=True, overflow="ellipsis")
        for outcome, count in self._counts.items():
            shape, style = marked(outcome.value, ascii_only=self._ascii)
            tally.append(f"{shape} {count}   ", style=style)
        yield tally

    def _running(self, board: BoardView) -> Iterator[RenderableType]:
        """As many rows as a verdict takes, so that nothing below jumps."""
        left_s = max(0.0, self._ends - time.monotonic())
        done = 1 - left_s / self._expected_s if self._expected_s > 0 else 0.0
        name = Text(f" RUNNING   {board.serial}   attempt {board.attempt}", "bold")
        noted = board.first_not_passed
        yield Text("")
        yield _two_ends(Spinner("line" if self._ascii else "dots", name), Text(f"about {left_s:.0f} s left"))
        yield ProgressBar(total=1.0, completed=max(0.0, done), complete_style=_BLUE, finished_style=_BLUE)
        yield Text("")
        yield Text(self._action, no_wrap=True, overflow="ellipsis")
        yield Text("" if noted is None else _noted(noted), style="bold", no_wrap=True, overflow="ellipsis")
        yield Text("\n" * (1 if self._waivers else 3))

    def _verdict(self, attempt: Attempt) -> Iterator[RenderableType]:
        rows = large(attempt.outcome, self._console.width - 4, "#" if self._ascii else "█")
        block = Text("\n".join(rows), no_wrap=True)
        space = (0 if self._waivers else 1, 2)  # 24 rows hold a waiver, a verdict and the rails, but no empty rows
        yield Padding(block, space, style=STYLES[attempt.outcome.value], expand=True)
        page = f"   page {self._page.name}" if self._page else ""
        said = safety(attempt.outcome, attempt.lines)
        hazard = said is not None and said.startswith("DANGER")
        safe = f"   {said}" if said and not hazard else ""
        yield Text(
            clean(f"{attempt.serial}   attempt {attempt.number}   {attempt.duration_s:.1f} s{page}{safe}"), style="bold"
        )
        if attempt.first_cause:
            yield Text(clean(attempt.first_cause), style="bold")
        for cause in self._causes:
            yield Text(clean(cause), no_wrap=True, overflow="ellipsis")
        yield Text(f"Next: {next_steps(attempt.outcome, attempt.number == 1, powered=was_powered(attempt.lines))[0]}")
        if said and hazard:
            yield Text(clean(said), style=DANGER)


def _two_ends(left: RenderableType, right: Text) -> Table:
    """One row: `left` cut off where it must be, `right` whole."""
    grid = Table.grid(expand=True)
    grid.add_column(no_wrap=True, ratio=1)
    grid.add_column(justify="right", no_wrap=True)
    grid.add_row(left, right)
    return grid


def _noted(line: Line) -> str:
    verdict = line.judgement.verdict if line.judgement else Verdict.UNREAD
    return clean(f"{verdict.value}: {described(line)}")
