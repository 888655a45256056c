"""What a guardian did, kept beside the lock of its bench: a log, and a note until the next station has told it.

A guardian holds a lock of its own while it lives: no new station powers what an old guardian still switches off.
"""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from batchtest.errors import BenchError


def keep(bench: str, folder: Path, said: str) -> None:
    """Add one line, with the wall time, to the log and to the note; a disk that refuses it is no reason to stop."""
    line = f"{datetime.now().astimezone().isoformat(timespec='seconds')} bench {bench}: {said}\n"
    for path in (_log(bench, folder), _note(bench, folder)):
        with suppress(OSError), path.open("a", encoding="utf-8") as file:
            file.write(line)
            file.flush()
            os.fsync(file.fileno())


def untold(bench: str, folder: Path) -> tuple[str, ...]:
    """What guardians of this bench did since somebody was last told of it."""
    with suppress(OSError):
        return tuple(_note(bench, folder).read_text(encoding="utf-8").splitlines())
    return ()


def told(bench: str, folder: Path) -> None:
    """Somebody was told: the log keeps it."""
    with suppress(OSError):
        _note(bench, folder).unlink(missing_ok=True)


@contextmanager
def on_guard(bench: str, folder: Path) -> Iterator[None]:
    """Be the one guardian of a bench while the block runs.

    Raises
    ------
    BenchError : another one is still at work.
    """
    lock = FileLock(folder / f"{bench}.guardian.lock", thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise BenchError(
            f"a guardian of bench {bench!r} is still switching off what a station left on; wait until it is done, "
            f"then read {_log(bench, folder)}"
        ) from error
    with lock:
        try:
            yield
        finally:
            lock.release(force=True)


def _log(bench: str, folder: Path) -> Path:
    return folder / f"{bench}.guardian.log"


def _note(bench: str, folder: Path) -> Path:
    return folder / f"{bench}.guardian.new"
