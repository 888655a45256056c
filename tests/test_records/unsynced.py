"""What a power cut takes: every byte and every name that nobody has had synced, at its worst."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path


@dataclass
class Unsynced:
    """Told of every change on the disk and of every sync; loses what is not synced.

    A file keeps the bytes that were there when it was last synced, a folder the names. A disk may keep more.
    """

    folder: Path
    synced: dict[int, int] = field(default_factory=dict)  # inode -> bytes
    names: list[tuple[str, Callable[[], object]]] = field(default_factory=list)  # folder -> how to undo
    files: dict[int, str] = field(default_factory=dict)  # open file -> path

    def opening(self, path: str) -> None:
        """A file is about to be opened for writing: where it is new, its name is not synced."""
        if not os.path.exists(path):
            self.names.append((os.path.dirname(path), lambda: _remove(path)))

    def opened(self, file: int, path: str) -> None:
        """It is open; nothing of a new file is synced."""
        self.files[file] = path
        found = os.fstat(file)
        self.synced.setdefault(found.st_ino, found.st_size)
        if found.st_size == 0:
            self.synced[found.st_ino] = 0

    def sync(self, file: int) -> None:
        """A file's bytes, or a folder's names, are on the disk."""
        path = self.files[file]
        if os.path.isdir(path):
            self.names = [(folder, undo) for folder, undo in self.names if folder != path]
        else:
            self.synced[os.fstat(file).st_ino] = os.fstat(file).st_size

    def rename(self, source: str, target: str) -> None:
        """A name is about to go over another one."""
        before = _content(target) if os.path.exists(target) else None

        def undo() -> None:
            shutil.move(target, source)
            if before is not None:
                Path(target).write_bytes(before)

        self.names.append((os.path.dirname(target), undo))

    def unlink(self, path: str) -> None:
        """A name is about to go."""
        if os.path.exists(path):
            before = _content(path)
            self.names.append((os.path.dirname(path), lambda: Path(path).write_bytes(before)))

    def mkdir(self, path: str) -> None:
        """A folder is about to be made."""
        if not os.path.exists(path):
            self.names.append((os.path.dirname(path), lambda: shutil.rmtree(path)))

    def lose(self) -> None:
        """Lose it all, the newest first."""
        for path in [path for path in self.folder.rglob("*") if path.is_file()]:
            kept = self.synced.get(path.stat().st_ino)
            if kept is not None and kept < path.stat().st_size:
                os.truncate(path, kept)
        while self.names:
            self.names.pop()[1]()


def _content(path: str) -> bytes:
    """Read without `pathlib`, whose opening is counted."""
    with open(path, "rb") as file:
        return file.read()


def _remove(path: str) -> None:
    if os.path.exists(path):
        os.unlink(path)
