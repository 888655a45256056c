"""What a person sees while boards are tested: live in a terminal, plain lines in a pipe, nothing for machines.

Colour is never the only cue: a verdict is a shape and a word, and RUNNING moves and is laid out unlike any verdict.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from types import TracebackType
from typing import IO, TYPE_CHECKING, Protocol, Self, TextIO

from batchtest.commands.marks import TAPE
from batchtest.errors import SetupError
from batchtest.nouns import Attempt, Line, Outcome, Waiver
from batchtest.pages.waivers import expired_line, waiver_line
from batchtest.pages.words import danger, safety

if TYPE_CHECKING:
    from batchtest.procedure.actions import Action
    from batchtest.records.batch import BatchSummary

SIMULATED = "SIMULATED BENCH: no real board is measured"


class Screen(Protocol):
    """Told of everything that happens, in order; shows what its reader can use. Used as a context manager."""

    def __enter__(self) -> Self:
        """Take the terminal."""
        ...

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Give the terminal back, whatever happened."""
        ...

    def start_batch(
        self, *, board: str, batch: str, bench: str, serials_total: int, simulated: bool, cautions: tuple[str, ...] = ()
    ) -> None:
        """A batch begins: what is tested, where, how many; cautions are shown before anything is powered."""
        ...

    def show_waivers(self, waivers: tuple[Waiver, ...]) -> None:
        """These are in force from here on, and no others: shown loud until told otherwise, and with every verdict."""
        ...

    def start_attempt(self, serial: str, attempt: int, seconds_expected: float) -> None:
        """A board is in; the whole attempt should take `seconds_expected`."""
        ...

    def start_action(self, action: Action, seconds_left: float) -> None:
        """An action begins; from here the attempt should take `seconds_left`."""
        ...

    def show_line(self, line: Line) -> None:
        """A reading came in."""
        ...

    def close_attempt(self, attempt: Attempt, page: Path | None) -> None:
        """An attempt is on disk; its verdict stays in sight until the next board."""
        ...

    def show_causes(self, serial: str, lines: Sequence[str]) -> None:
        """What probably failed on a board that did not pass; it may come when the next one is being tested."""
        ...

    def end_batch(self, summary: BatchSummary) -> None:
        """The batch is over."""
        ...

    def message(self, text: str) -> None:
        """One line for the person, now."""
        ...

    def ask(self, prompt: str) -> str:
        """Ask the person and wait for a line; raises SetupError where nobody can answer."""
        ...


class SilentScreen:
    """Shows nothing: what a machine wants is printed elsewhere."""

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Nothing was taken."""

    def start_batch(
        self, *, board: str, batch: str, bench: str, serials_total: int, simulated: bool, cautions: tuple[str, ...] = ()
    ) -> None:
        """Nothing."""

    def show_waivers(self, waivers: tuple[Waiver, ...]) -> None:
        """Nothing."""

    def start_attempt(self, serial: str, attempt: int, seconds_expected: float) -> None:
        """Nothing."""

    def start_action(self, action: Action, seconds_left: float) -> None:
        """Nothing."""

    def show_line(self, line: Line) -> None:
        """Nothing."""

    def close_attempt(self, attempt: Attempt, page: Path | None) -> None:
        """Nothing."""

    def show_causes(self, serial: str, lines: Sequence[str]) -> None:
        """Nothing."""

    def end_batch(self, summary: BatchSummary) -> None:
        """Nothing."""

    def message(self, text: str) -> None:
        """Nothing."""

    def ask(self, prompt: str) -> str:
        """Ask on stderr, which no machine reads."""
        return read_answer(prompt, sys.stderr)


class PlainScreen(SilentScreen):
    """One line for each event that matters, for a file, a pipe, or a terminal that cannot move its cursor."""

    def __init__(self, stream: TextIO) -> None:
        self._stream = stream
        self._done = 0
        self._total = 0
        self._waivers: tuple[Waiver, ...] = ()

    def start_batch(
        self, *, board: str, batch: str, bench: str, serials_total: int, simulated: bool, cautions: tuple[str, ...] = ()
    ) -> None:
        """Say what begins, and the cautions."""
        self._total = serials_total
        if simulated:
            self._say(SIMULATED)
        self._say(f"batch {batch}: {f'{serials_total} ' if serials_total else ''}{board} on bench {bench}")
        for caution in cautions:
            self._say(f"caution: {caution}")

    def show_waivers(self, waivers: tuple[Waiver, ...]) -> None:
        """Say each that comes into force, and each that is over."""
        for text in changes(self._waivers, waivers):
            self._say(text)
        self._waivers = waivers

    def close_attempt(self, attempt: Attempt, page: Path | None) -> None:
        """Say what became of a board, "VN-0002 attempt 1: FAIL in 13.4 s: ..."; danger and waivers stand below it."""
        self._done += 1
        result = f"{self._done}{f'/{self._total}' if self._total else ''} {result_line(attempt)}"
        told = safety(attempt.outcome, attempt.lines)
        apart = danger(attempt.outcome, attempt.lines) is not None
        for text in [result, told] if told and apart else ["; ".join(filter(None, [result, told]))]:
            self._say(text)
        for waiver in self._waivers:
            self._say(taped(waiver))

    def show_causes(self, serial: str, lines: Sequence[str]) -> None:
        """Say them one below the other."""
        for text in causes_said(serial, lines):
            self._say(text)

    def end_batch(self, summary: BatchSummary) -> None:
        """Say how the batch went."""
        for text in summary_lines(summary):
            self._say(text)

    def message(self, text: str) -> None:
        """Say it."""
        self._say(text)

    def ask(self, prompt: str) -> str:
        """Ask on the stream."""
        return read_answer(prompt, self._stream)

    def _say(self, text: str) -> None:
        self._stream.write(clean(text) + "\n")
        self._stream.flush()


def choose_screen(json: bool, stream: TextIO) -> Screen:
    """Live where `stream` is a terminal that can move its cursor, plain lines elsewhere, nothing for JSON."""
    if json:
        return SilentScreen()
    if stream.isatty() and os.environ.get("TERM", "dumb") not in ("dumb", "unknown", ""):
        from batchtest.commands.live import LiveScreen

        return LiveScreen(stream)
    return PlainScreen(stream)


def read_answer(prompt: str, stream: IO[str]) -> str:
    """Write a prompt and read one line of standard input. The end of input is no answer, least of all a yes.

    Raises
    ------
    SetupError : standard input is at its end.
    """
    stream.write(prompt)
    stream.flush()
    answer = sys.stdin.readline()
    if not answer:
        raise SetupError(
            f"nobody answers {prompt.strip()!r}; run it in a terminal, or name --serials and use a handler"
        )
    return answer.removesuffix("\n")


def result_line(attempt: Attempt) -> str:
    """One closed attempt on one line; anything but a pass is in capitals, with what decided it."""
    word = attempt.outcome.value if attempt.outcome is Outcome.PASS else attempt.outcome.value.upper()
    cause = f": {attempt.first_cause}" if attempt.first_cause else ""
    return f"{attempt.serial} attempt {attempt.number}: {word} in {attempt.duration_s:.1f} s{cause}"


def summary_lines(summary: BatchSummary) -> list[str]:
    """How a batch went: boards by their last outcome, first-pass yield with its interval, what is open."""
    last = list(summary.boards.values())
    counts = ", ".join(f"{last.count(outcome)} {outcome.value}" for outcome in Outcome if outcome in last)
    boards = "1 board" if len(last) == 1 else f"{len(last)} boards"
    said = [f"batch {summary.batch}: {boards}{': ' if counts else ''}{counts}"]
    first = summary.first_pass
    if first.share is not None:
        interval = f"95 % interval {100 * first.lower:.0f} to {100 * first.upper:.0f} %"
        said.append(f"first-pass yield {first.passed} of {first.boards}, {100 * first.share:.0f} % ({interval})")
    if summary.open:
        said.append(f"open, to be tested anew: {', '.join(summary.open)}")
    return said


def causes_said(serial: str, lines: Sequence[str]) -> list[str]:
    """Likely causes of a board with its serial above them; nothing where there are none."""
    return [f"{serial}, what probably failed:", *(f"  {line}" for line in lines)] if lines else []


def taped(waiver: Waiver) -> str:
    """A waiver on one line, between bars of tape."""
    return f"{TAPE} {waiver_line(waiver)} {TAPE}"


def changes(before: tuple[Waiver, ...], after: tuple[Waiver, ...]) -> list[str]:
    """What to say where waivers come into force, or are over."""
    came = [taped(waiver) for waiver in after if waiver not in before]
    return came + [expired_line(waiver) for waiver in before if waiver not in after]


def clean(text: str) -> str:
    """A text on one line, without anything that a terminal would obey.

    >>> clean("VN\\x1b[2J\\n0001")
    'VN?[2J 0001'
    """
    return "".join(letter if letter.isprintable() else "?" for letter in " ".join(text.splitlines()))
