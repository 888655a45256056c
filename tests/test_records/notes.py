"""Notes for the tests: a resistor of a board was replaced."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime

from batchtest.nouns import Note, NoteKind

WRITTEN = datetime(2026, 3, 3, 10, 0, tzinfo=UTC)
NOTE = Note(
    number=0,
    batch="spring-1",
    serial="VN-0001",
    station="bench-1",
    kind=NoteKind.REWORK,
    by="K. Ahn",
    text="open joint found under R5B",
    about="spring-1/VN-0001.1.csv",
    about_sha256="ab" * 32,
    written=WRITTEN,
)
PERMIT = replace(
    NOTE, kind=NoteKind.CONCESSION, text="harmless in this host", reference="DEV-12", until=date(2026, 4, 1), quantity=2
)


def a_note(**changes: object) -> Note:
    """A note that can be written, with some of it changed."""
    return replace(NOTE, **changes)  # type: ignore[arg-type]


def a_permit(**changes: object) -> Note:
    """A concession that can be written, with some of it changed."""
    return replace(PERMIT, **changes)  # type: ignore[arg-type]
