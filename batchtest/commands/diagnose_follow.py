"""The second program, which finds likely causes while boards are tested, and is gone when the station is.

It is told records on standard input, one a line, and answers each with one line of JSON once the fault table is there.
Before that it says how far the table is. Where its input ends while the table is being made, so does it.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from queue import SimpleQueue
from threading import Event, Thread
from typing import TYPE_CHECKING, Any, TextIO

from batchtest.errors import StationError

if TYPE_CHECKING:
    from batchtest.commands.diagnose_record import Finder
    from batchtest.files.library import Setup


class _Left(Exception):
    """Nobody wants the table any more."""


def follow(setup: Setup, reports: Path) -> None:
    """Answer for record after record until standard input ends.

    Raises
    ------
    StationError : the table cannot be made.
    """
    from batchtest.commands.diagnose_record import finder_of
    from batchtest.diagnosis import cached, load_or_build
    from batchtest.procedure import derive

    records: SimpleQueue[Path | None] = SimpleQueue()
    ended = Event()
    Thread(target=_listen, args=(sys.stdin, records, ended), daemon=True).start()

    def tell(done: int, total: int) -> None:
        if ended.is_set():
            raise _Left
        _say(progress=[done, total])

    try:
        table = cached(setup, reports) or load_or_build(setup, derive(setup), reports, progress=tell, workers=1)
    except _Left:
        return
    finder = finder_of(setup, table, reports)
    _say(ready=True)
    while (path := records.get()) is not None:
        _say(record=f"{path.parent.name}/{path.name}", **_answer(finder, path))


def _answer(finder: Finder, path: Path) -> dict[str, Any]:
    """The lines that the screen shows, none where nothing speaks against the board; or why there are none."""
    from batchtest.commands.diagnose_record import keep, readable
    from batchtest.pages.findings import cause_lines

    try:
        record = readable(path)
        opinion = finder.find(record, ())
        if opinion.diagnosis.advice == "nothing":
            return {"lines": []}
        keep(record, opinion)
    except StationError as error:
        return {"error": str(error)}
    return {"lines": [*cause_lines(opinion.finding), opinion.finding.advice]}


def _listen(stream: TextIO, records: SimpleQueue[Path | None], ended: Event) -> None:
    """Take in what is asked for, and that nothing more will be."""
    for line in stream:
        records.put(Path(line.removesuffix("\n")))
    ended.set()
    records.put(None)


def _say(**told: object) -> None:
    sys.stdout.write(json.dumps(told) + "\n")
    sys.stdout.flush()
