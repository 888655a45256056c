"""A note on the disk, `reports/<batch>/note.<n>.json`: rework, a correction, a deviation or concession, a release.

Nothing that was recorded is ever changed: a note is a record of its own, which names the one that it is about by that
record's hash, and is linked into the station's chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from batchtest.errors import SetupError
from batchtest.formulas import formula_fault
from batchtest.nouns import Note, NoteKind
from batchtest.records.disk import on_disk
from batchtest.records.linked import Shelf
from batchtest.records.people import letters, name_fault, tidy

#: Permission to go outside the limits: before it is done, and after.
PERMITS = (NoteKind.DEVIATION, NoteKind.CONCESSION)
#: A note must fit a screen.
MOST_LETTERS = 400
#: The longest of a part, a lot, a number, in letters.
MOST_NAME = 60
#: What a note may carry for a rework only.
_OF_REWORK = ("part", "changed", "lot")

_SHELF = Shelf("note", TypeAdapter(Note), "note.")


def write_note(reports: Path, note: Note) -> Note:
    """Put a note on the disk for good, and give it back with its number and hash; runs of spaces become one.

    Raises
    ------
    SetupError : it says too little, or what its kind cannot say.
    RecordError : it is not on the disk; no file of it is left.
    """
    tidied = replace(
        note,
        by=tidy(note.by),
        second=tidy(note.second),
        text=tidy(note.text),
        part=tidy(note.part),
        changed=tidy(note.changed),
        lot=tidy(note.lot),
        reference=tidy(note.reference),
    )
    words = (getattr(tidied, name) for name in ("by", "second", "text", "reference", *_OF_REWORK))
    run = (fault for text in words if (fault := formula_fault(text)))
    if faults := [*note_faults(tidied), *run]:
        raise SetupError("\n".join(faults))
    return _SHELF.write(reports, tidied, f"the note on {note.serial} of batch {note.batch} is not written")


def read_notes(reports: Path, batch: str, serial: str | None = None) -> tuple[Note, ...]:
    """The notes of a batch, or of one of its boards, in the order in which they were written; verified.

    Raises
    ------
    RecordError : one is damaged, altered, of another batch, or was taken out; names the file and the cure.
    """
    return tuple(note for note in _SHELF.read(reports, batch) if serial in (None, note.serial))


def permits(reports: Path, reference: str) -> Iterator[Note]:
    """Every deviation or concession of a number, in all batches.

    Raises
    ------
    RecordError : a note is damaged.
    """
    with on_disk(f"{reports} cannot be read"):
        batches = sorted(path.name for path in reports.iterdir() if path.is_dir())
    for batch in batches:
        yield from (note for note in read_notes(reports, batch) if note.kind in PERMITS and note.reference == reference)


def note_file(note: Note) -> str:
    """Name of its file, in the folder of its batch."""
    return _SHELF.path(Path(), note.number).name


def note_table(note: Note) -> dict[str, Any]:
    """A note as the JSON object that its file holds, but for its place in the chain."""
    return _SHELF.as_table(note)


def note_faults(note: Note) -> Iterator[str]:
    """What makes it no note of its kind: each fault with its value and cure."""
    for name in (note.by, *([note.second] if note.second else [])):
        if fault := name_fault(name):
            yield fault
    if note.second and letters(note.by) == letters(note.second):
        yield f"{note.by!r} and {note.second!r} are one person; name another one, or leave the second out"
    if not note.text or len(note.text) > MOST_LETTERS or not note.text.isprintable():
        yield f"the text {note.text!r} will not do; say what was done and why, in {MOST_LETTERS} letters at most"
    for name in ("reference", *_OF_REWORK):
        value = getattr(note, name)
        if len(value) > MOST_NAME or not value.isprintable():
            yield f"{name} {value!r} will not do; write {MOST_NAME} letters at most, on one line"
    yield from _permit_faults(note) if note.kind in PERMITS else _foreign_faults(note)
    if note.kind is not NoteKind.REWORK and (odd := [name for name in _OF_REWORK if getattr(note, name)]):
        yield f"a {note.kind.value} has no {' or '.join(odd)}; that is for a rework, leave it out"


def _permit_faults(note: Note) -> Iterator[str]:
    kind = note.kind.value
    if not note.reference:
        yield f"a {kind} needs its number, by which it was granted; add it, such as DEV-12"
    if note.until is None and note.quantity is None:
        yield f"a {kind} without a limit is a change in disguise; say until which day, or for how many boards"
    if note.until is not None and note.until < note.written.date():
        yield f"the {kind} {note.reference} ended on {note.until.isoformat()}; have it granted anew"
    if note.quantity is not None and note.quantity < 1:
        yield f"a {kind} for {note.quantity} boards permits none; write 1 or more"


def _foreign_faults(note: Note) -> Iterator[str]:
    found = {"number": note.reference, "last day": note.until, "quantity": note.quantity}
    if odd := [name for name, value in found.items() if value]:
        yield f"a {note.kind.value} has no {' or '.join(odd)}; that is for a deviation or concession, leave it out"
