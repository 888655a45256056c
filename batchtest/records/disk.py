"""What reaches the disk and stays there: synced writes, files that appear whole or not at all."""

from __future__ import annotations

import os
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from batchtest.errors import RecordError


@contextmanager
def on_disk(what: str) -> Iterator[None]:
    """Turn what the disk refuses into a `RecordError` that says what is not on it, one from within too."""
    try:
        yield
    except OSError as error:
        where = f" ({error.filename})" if error.filename else ""
        raise RecordError(f"{what}: {error.strerror or error}{where}") from error
    except RecordError as error:
        raise type(error)(f"{what}: {error}") from error


def write_all(file: int, data: bytes) -> None:
    """Write every byte to an open file and sync it; raises OSError where the disk takes fewer."""
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(file, rest) :]
    os.fdatasync(file)


def sync_folder(folder: Path) -> None:
    """Have the names in a folder on the disk before going on."""
    opened = os.open(folder, os.O_RDONLY | os.O_DIRECTORY)
    try:
        os.fsync(opened)
    finally:
        os.close(opened)


def make_folder(folder: Path) -> None:
    """Make a folder and those above it where missing, each name synced: what is written into it is not lost with it."""
    if folder.is_dir():
        return
    make_folder(folder.parent)
    folder.mkdir(exist_ok=True)
    sync_folder(folder.parent)


def write_whole(path: Path, content: str | bytes) -> None:
    """Write a file that appears whole or not at all: a temporary file beside it, synced, then renamed.

    Raises
    ------
    OSError : what was there is there still, or, where only its name could not be synced, all that is new; nothing in
        between, and no temporary file.
    """
    temporary = path.with_name(f".{path.name}.{os.getpid()}.tmp")
    try:
        file = os.open(temporary, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o644)
        try:
            write_all(file, content.encode() if isinstance(content, str) else content)
        finally:
            os.close(file)
        os.replace(temporary, path)
    except OSError:
        with suppress(OSError):
            temporary.unlink()
        raise
    sync_folder(path.parent)
