"""One program at a time on a bench: a lock that the kernel drops with its holder, and a note of who that is."""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path

from filelock import FileLock, Timeout

from batchtest.bench.aftermath import on_guard
from batchtest.errors import BenchError


@contextmanager
def occupied(name: str, folder: Path) -> Iterator[None]:
    """Hold the bench of that name while the block runs.

    Raises
    ------
    BenchError : another program holds it; the message names its process and since when. Or the guardian of a station
        that died is still at work on it.
    """
    folder.mkdir(parents=True, exist_ok=True)
    note = folder / f"{name}.holder.json"
    lock = FileLock(folder / f"{name}.lock", thread_local=False)
    try:
        lock.acquire(timeout=0)
    except Timeout as error:
        raise BenchError(f"bench {name!r} is in use by {_holder(note)}; end that, then start again") from error
    with lock:
        with on_guard(name, folder):
            pass
        _write(note)
        try:
            yield
        finally:
            note.unlink(missing_ok=True)
            lock.release(force=True)


def _write(note: Path) -> None:
    fresh = note.with_suffix(".new")
    fresh.write_text(
        json.dumps({"pid": os.getpid(), "since": datetime.now().astimezone().isoformat(timespec="seconds")})
    )
    fresh.replace(note)


def _holder(note: Path) -> str:
    try:
        holder = json.loads(note.read_text())
        return f"process {holder['pid']} since {holder['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return "a process that has not said who it is"
