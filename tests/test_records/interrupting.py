"""Interrupts writes at sixty moments; a process of its own, since an interrupt inside the coverage tracer hangs it."""

from __future__ import annotations

import signal
import sys
from contextlib import suppress
from pathlib import Path

from batchtest.records.journal import Journal
from batchtest.records.record import read_record
from test_records.contexts import CONTEXT, a_line, close


def interrupt(*_: object) -> None:
    """What Ctrl-C does."""
    raise KeyboardInterrupt


def main(folder: Path) -> None:
    """Write until interrupted, then a little more, close, read back; again with the interrupt a little later."""
    signal.signal(signal.SIGALRM, interrupt)
    for turn in range(60):
        journal = Journal.claim(folder, CONTEXT)
        with suppress(KeyboardInterrupt):
            signal.setitimer(signal.ITIMER_REAL, 1e-5 * (turn + 1))
            for number in range(1, 1000):
                journal.write(a_line(number))
        for _ in range(turn % 3):
            journal.write(a_line(len(journal.lines) + 1))
        attempt = close(journal)
        record = read_record(folder / attempt.record)
        assert record.unaltered
        assert record.attempt == attempt
        assert [line.number for line in record.lines] == list(range(1, len(record.lines) + 1))


if __name__ == "__main__":
    main(Path(sys.argv[1]))
