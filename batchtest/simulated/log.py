"""The bench's own log: every command received, every reply sent and every change of what is on, each with its time."""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from enum import StrEnum
from typing import NamedTuple

#: Entries that are kept; the oldest are forgotten beyond it.
KEPT = 1_000_000


class Kind(StrEnum):
    """What an entry tells of."""

    COMMAND = "command"
    REPLY = "reply"
    STATE = "state"


class Entry(NamedTuple):
    """One entry: clock time (s), the role of the instrument, what kind it is, and the text as it was on the wire."""

    time_s: float
    role: str
    kind: Kind
    text: str


class BenchLog:
    """Entries in the order in which they came about."""

    def __init__(self) -> None:
        self._entries: deque[Entry] = deque(maxlen=KEPT)

    def add(self, time_s: float, role: str, kind: Kind, text: str) -> None:
        """Keep one entry."""
        self._entries.append(Entry(time_s, role, kind, text))

    def __iter__(self) -> Iterator[Entry]:
        return iter(tuple(self._entries))

    def __len__(self) -> int:
        return len(self._entries)

    def commands(self, role: str | None = None) -> list[str]:
        """Texts of the commands that one role (or every role) received."""
        return [entry.text for entry in self if entry.kind is Kind.COMMAND and role in (None, entry.role)]

    def last_command(self, role: str, text: str) -> Entry | None:
        """The newest entry of a command to a role; looks back from the end, however long the log is."""
        for back in range(1, len(self._entries) + 1):
            entry = self._entries[-back]
            if entry.kind is Kind.COMMAND and (entry.role, entry.text) == (role, text):
                return entry
        return None

    def states(self, role: str | None = None) -> list[Entry]:
        """Changes of state of one role ("load" is every channel, "load 2" one of them), or of all."""
        return [entry for entry in self if entry.kind is Kind.STATE and _is_of(entry, role)]

    def was_on(self, role: str) -> bool:
        """Whether an output of this role was ever switched on since the log began."""
        return any(entry.text.endswith(" on") for entry in self.states(role))


def _is_of(entry: Entry, role: str | None) -> bool:
    return role is None or entry.role == role or entry.role.startswith(f"{role} ")
