"""Likely causes beside a batch: found by a second program, so that no test waits for them or fails with them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from queue import Empty, SimpleQueue
from threading import Thread
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from batchtest.files.library import Setup
    from batchtest.nouns import Attempt

#: Told of a board, by its serial, and what its causes are, line by line.
Show = Callable[[str, list[str]], None]
#: The lowest priority there is: testing comes first.
NICENESS = 19
#: How long the second program is given to end by itself, s.
END_S = 2.0
#: How long a board that did not pass waits for its causes between two boards, outputs off, s.
SOON_S = 1.0
#: How often one who waits looks up, s.
_LOOK_S = 0.1


class Causes:
    """Asks the second program for the causes of each board that did not pass, and shows what has come."""

    def __init__(self, child: subprocess.Popen[str], reports: Path) -> None:
        self._child, self._reports = child, reports
        self._told: SimpleQueue[dict[str, Any]] = SimpleQueue()
        self._asked: dict[str, str] = {}
        self._progress: tuple[int, int] | None = None
        self._ready = False
        self._listening = Thread(target=self._listen, daemon=True)
        self._listening.start()

    @property
    def open(self) -> list[str]:
        """Serials of the boards that were asked for and not answered."""
        return list(self._asked.values())

    @property
    def ready(self) -> bool:
        """Whether the fault table is there, and answers take less than a second each."""
        return self._ready

    @property
    def ended(self) -> bool:
        """Whether nothing more will come."""
        return not self._listening.is_alive() and self._told.empty()

    def ask(self, attempt: Attempt) -> None:
        """Ask for the causes of a board; one that passed, or that was not judged, has none."""
        if attempt.outcome not in ("fail", "doubtful") or self.ended:
            return
        self._asked[attempt.record] = attempt.serial
        assert self._child.stdin is not None
        with suppress(OSError):  # it ended meanwhile: its last words are still to be read
            self._child.stdin.write(f"{self._reports / attempt.record}\n")
            self._child.stdin.flush()

    def show_soon(self, show: Show) -> None:
        """Show what has come; where the fault table is there, what was just asked for is waited for a moment."""
        self._take_all(show)
        ends = time.monotonic() + SOON_S
        while self._ready and self._asked and not self.ended and time.monotonic() < ends:
            self._take_next(show)

    def wait(self, show: Show, progress: Callable[[int, int], None], most_s: float) -> None:
        """Show everything that was asked for, as it comes; `progress` is told how far the fault table is."""
        ends = time.monotonic() + most_s
        while self._asked and not self.ended and time.monotonic() < ends:
            self._take_next(show)
            if self._progress is not None:
                progress(*self._progress)
        self._take_all(show)

    def _take_next(self, show: Show) -> None:
        with suppress(Empty):
            self._take(self._told.get(timeout=_LOOK_S), show)

    def _take_all(self, show: Show) -> None:
        with suppress(Empty):
            while True:
                self._take(self._told.get_nowait(), show)

    def _take(self, told: dict[str, Any], show: Show) -> None:
        if "progress" in told:
            self._progress = (told["progress"][0], told["progress"][1])
        self._ready = self._ready or "ready" in told
        serial = self._asked.pop(told.get("record", ""), None)
        if serial is not None and (lines := [told["error"]] if "error" in told else told["lines"]):
            show(serial, lines)

    def _listen(self) -> None:
        assert self._child.stdout is not None
        for line in self._child.stdout:
            self._told.put(json.loads(line))


@contextmanager
def causes_beside(setup: Setup, reports: Path, *, wanted: bool) -> Iterator[Causes | None]:
    """Have the second program run until the block ends; `None` where nobody wants it."""
    if not wanted:
        yield None
        return
    arguments = ["--board", setup.board, "--fixture", setup.fixture_name, "--bench", setup.bench_name]
    with subprocess.Popen(
        [sys.executable, "-m", "batchtest", "diagnose", "--follow", *arguments, "--reports", str(reports.resolve())],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        cwd=setup.root,
        start_new_session=True,
    ) as child:
        os.setpriority(os.PRIO_PROCESS, child.pid, NICENESS)
        try:
            yield Causes(child, reports.resolve())
        finally:
            _end(child)


def _end(child: subprocess.Popen[str]) -> None:
    assert child.stdin is not None
    with suppress(OSError):
        child.stdin.close()
    try:
        child.wait(END_S)
    except subprocess.TimeoutExpired:
        child.kill()
