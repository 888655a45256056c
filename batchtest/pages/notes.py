"""Notes in words: what was done to a board after it was tested, what it may be although it is not, where it went."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from batchtest.nouns import Note, NoteKind, Retest
from batchtest.pages.render import moment
from batchtest.records.note import note_file

#: What a kind of note is called where it must not be missed.
_LOUD = {NoteKind.RELEASE: "RELEASED", NoteKind.SCRAP: "SCRAPPED"}


@dataclass(frozen=True, slots=True, kw_only=True)
class NoteRow:
    """A note written out for a page; `when` says whether it was known at the attempt."""

    word: str
    details: str
    text: str
    people: str
    written: str
    when: str
    about: str
    file: str


def note_rows(known: Iterable[Note], now: Iterable[Note]) -> list[NoteRow]:
    """The notes of a board on the page of an attempt: `known` when it was made, and those that are there `now`."""
    before = {note.number: note for note in known}
    after = {note.number: note for note in now if note.number not in before}
    rows = [_row(note, "before this attempt") for note in before.values()]
    return rows + [_row(note, "after this attempt began") for _, note in sorted(after.items())]


def board_notes(notes: Iterable[Note], serial: str) -> list[str]:
    """The notes of a board on the page of its batch, one line each."""
    return [note_line(note) for note in notes if note.serial == serial]


def note_line(note: Note) -> str:
    """All of a note on one line."""
    details = f" ({', '.join(_details(note))})" if list(_details(note)) else ""
    return f"note {note.number}, {_word(note)}{details} by {people_text(note)}, {moment(note.written)}: {note.text}"


def people_text(note: Note) -> str:
    """Who says so."""
    return f"{note.by} and {note.second}" if note.second else note.by


def retest_text(retest: Retest, allowed: int | None) -> str:
    """Why it was tested again, on one line."""
    said = f"{retest.reason.value}: {retest.text}" if retest.text else retest.reason.value
    if not retest.number:
        return f"{said}; the first test after a rework"
    limit = "" if allowed is None else f" of {allowed} allowed"
    return f"{said}; retest {retest.number}{limit}{f', with {retest.second}' if retest.second else ''}"


def _row(note: Note, when: str) -> NoteRow:
    return NoteRow(
        word=_word(note),
        details=", ".join(_details(note)),
        text=note.text,
        people=people_text(note),
        written=moment(note.written),
        when=when,
        about=note.about,
        file=note_file(note),
    )


def _word(note: Note) -> str:
    return _LOUD.get(note.kind, note.kind.value)


def _details(note: Note) -> Iterator[str]:
    if note.reference:
        yield note.reference
    if note.part:
        yield f"part {note.part}"
    if note.changed:
        yield f"changed: {note.changed}"
    if note.lot:
        yield f"lot {note.lot}"
    if note.until is not None:
        yield f"until {note.until.isoformat()}"
    if note.quantity is not None:
        yield f"for {note.quantity} boards" if note.quantity != 1 else "for one board"
