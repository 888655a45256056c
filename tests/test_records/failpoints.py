"""A disk that fails at a chosen call, or a computer that dies there: every call that changes or opens a file counts."""

from __future__ import annotations

import io
import os
import signal
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from batchtest.errors import RecordError
from test_records.unsynced import Unsynced

#: Calls by the file's name, and calls by an open file.
BY_NAME = ("open", "rename", "replace", "unlink", "mkdir")
BY_FILE = ("write", "fdatasync", "fsync")


@dataclass
class Failpoint:
    """Counts the calls below a folder and strikes at one of them; `lasting`: at all that follow as well."""

    folder: Path
    at: int
    strike: Callable[[str], None]
    lasting: bool = False
    made: int = 0
    struck: list[str] = field(default_factory=list)
    done: bool = False

    def __post_init__(self) -> None:
        self.disk = Unsynced(self.folder)

    def hit(self, call: str, about: object) -> bool:
        """Count a call; whether it is to be struck."""
        if self.done:
            return False
        self.made += 1
        now = self.made == self.at or (self.lasting and self.made > self.at)
        if now:
            self.struck.append(f"{call} {about}")
        return now

    def inside(self, path: object) -> bool:
        """Whether a path lies below the folder."""
        return isinstance(path, str | os.PathLike) and os.fspath(path).startswith(str(self.folder))


def fail(errno: int) -> Callable[[str], None]:
    """A strike that makes the call fail as the system would."""

    def strike(about: str) -> None:
        raise OSError(errno, os.strerror(errno), about)

    return strike


def die(_about: str) -> None:
    """A strike that kills this process as `kill -9` does."""
    os.kill(os.getpid(), signal.SIGKILL)
    signal.pause()


def power_cut(folder: Path, at: int) -> Failpoint:
    """A point at which the computer loses its power, and the disk all that was not synced."""

    def strike(about: str) -> None:
        point.done = True
        point.disk.lose()
        die(about)

    point = Failpoint(folder, at, strike)
    return point


@contextmanager
def failpoint(point: Failpoint) -> Iterator[Failpoint]:
    """Have calls counted and struck inside the block. A write that is struck has written its first half."""
    real = {name: getattr(os, name) for name in (*BY_NAME, *BY_FILE, "close")}
    real_open = io.open

    def by_name(name: str) -> Callable[..., Any]:
        def call(path: Any, *arguments: Any, **named: Any) -> Any:
            if not point.inside(path) or point.done:
                return real[name](path, *arguments, **named)
            if point.hit(name, path):
                point.strike(os.fspath(path))
            about_to(name, os.fspath(path), *arguments)
            found = real[name](path, *arguments, **named)
            if name == "open":
                point.disk.opened(found, os.fspath(path))
            return found

        return call

    def about_to(name: str, path: str, *arguments: Any) -> None:
        if name in ("rename", "replace"):
            point.disk.rename(path, os.fspath(arguments[0]))
        elif name != "open" or arguments[0] & os.O_CREAT:
            {"open": point.disk.opening, "unlink": point.disk.unlink, "mkdir": point.disk.mkdir}[name](path)

    def by_file(name: str) -> Callable[..., Any]:
        def call(file: int, *arguments: Any) -> Any:
            if file not in point.disk.files or point.done:
                return real[name](file, *arguments)
            if point.hit(name, file):
                if name == "write":
                    real[name](file, bytes(arguments[0])[: len(arguments[0]) // 2])
                point.strike(f"file {file}")
            found = real[name](file, *arguments)
            if name != "write":
                point.disk.sync(file)
            return found

        return call

    def read(path: Any, *arguments: Any, **named: Any) -> Any:
        if point.inside(path) and point.hit("open", path):
            point.strike(os.fspath(path))
        return real_open(path, *arguments, **named)

    def close(file: int) -> None:
        point.disk.files.pop(file, None)
        real["close"](file)

    try:
        for name in BY_NAME:
            setattr(os, name, by_name(name))
        for name in BY_FILE:
            setattr(os, name, by_file(name))
        os.close, io.open = close, read
        yield point
    finally:
        for name, call in real.items():
            setattr(os, name, call)
        io.open = real_open


def said_of(point: Failpoint, work: Callable[[], object]) -> str:
    """Do some work on a failing disk, and give what is said of it; empty where it came through."""
    with failpoint(point):
        try:
            work()
        except RecordError as error:
            return str(error)
    return ""
