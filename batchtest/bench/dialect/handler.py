"""Dialects of handlers."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

from pydantic import StrictStr

from batchtest.bench.dialect.base import Dialect
from batchtest.bench.templates import CableCommand, Command, Query, SerialCommand
from batchtest.files.fields import Seconds, Wrong


class HandlerDialect(Dialect):
    """A machine that puts boards into the nest; `takes` is the longest that one move lasts.

    `fit` changes the cable and `cable` asks which is fitted; both are left out where only a person changes cables.
    `host_on` and `host_off` switch the mains of a host and `host` asks whether they are on; all three, or none.
    `fuse_out` takes the fuse behind a host's outlet into the holder on the bench, `fuse_back` puts it back, and `fuse`
    asks whether it is in the holder; all three, or none.
    """

    role: Literal["handler"]
    place: SerialCommand
    eject: Command
    board: Query
    lid: Query
    fit: CableCommand | None = None
    cable: Query | None = None
    host_on: Command | None = None
    host_off: Command | None = None
    host: Query | None = None
    fuse_out: Command | None = None
    fuse_back: Command | None = None
    fuse: Query | None = None
    takes: Seconds = Decimal(30)
    closed_words: tuple[StrictStr, ...] = ("1", "+1", "ON")
    open_words: tuple[StrictStr, ...] = ("0", "+0", "OFF")

    def own_faults(self) -> Iterator[Wrong]:
        """Cables that are changed without being asked for, or the reverse; a host or a fuse half handled."""
        yield from super().own_faults()
        if self.fit is not None and self.cable is None:
            yield ("cable",), "is missing beside fit, so that nothing tells which cable is fitted; add its query"
        if self.cable is not None and self.fit is None:
            yield ("fit",), "is missing beside cable; add the command that fits one, or leave both out"
        yield from self._all_or_none(("host_on", "host_off", "host"), "switch a host")
        yield from self._all_or_none(("fuse_out", "fuse_back", "fuse"), "move a fuse")

    def _all_or_none(self, names: tuple[str, ...], do: str) -> Iterator[Wrong]:
        given = {name: getattr(self, name) for name in names}
        for name, message in given.items():
            if message is None and any(given.values()):
                yield (name,), f"is missing beside the others that {do}; add it, or leave all three out"
