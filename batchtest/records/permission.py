"""Whether a note may be written of a board as it stands: what a release wants, what limits a permission."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from batchtest.nouns import Note, NoteKind, Outcome, Verdict
from batchtest.records.excuse import counted
from batchtest.records.history import History
from batchtest.records.note import PERMITS, permits
from batchtest.records.record import Record, read_record


def refusals(reports: Path, note: Note, past: History) -> Iterator[str]:
    """Why a note of this kind cannot be written of this board now, each with its cure; nothing where it can.

    Parameters
    ----------
    note : as it is to be written.
    past : of its board, in its batch.

    Raises
    ------
    RecordError : a record or a note is damaged.
    """
    if note.kind is not NoteKind.CORRECTION and any(known.kind is NoteKind.SCRAP for known in past.notes):
        yield f"{note.serial} was scrapped; only a correction can be added to it"
    if note.kind in PERMITS:
        yield from _limits(reports, note)
    if note.kind is NoteKind.RELEASE:
        yield from _unfit(reports, note, past)


def _limits(reports: Path, note: Note) -> Iterator[str]:
    """A number has one set of limits, and they are used up by every board that cites it, whichever its batch."""
    cited = list(permits(reports, note.reference))
    for known in cited[:1]:
        if (known.kind, known.until, known.quantity) != (note.kind, note.until, note.quantity):
            yield (
                f"{note.reference} is a {known.kind.value} {_limit(known)}, by note {known.number} of batch "
                f"{known.batch}; cite it with these limits, or have another one granted"
            )
    boards = {(known.batch, known.serial) for known in cited}
    used = len(boards - {(note.batch, note.serial)})
    if note.quantity is not None and used >= note.quantity:
        yield f"{note.reference} is used up: {used} of {note.quantity} boards cite it; have another one granted"


def _limit(note: Note) -> str:
    until = "" if note.until is None else f"until {note.until.isoformat()}"
    return " ".join(filter(None, (until, "" if note.quantity is None else f"for {note.quantity} boards")))


def _unfit(reports: Path, note: Note, past: History) -> Iterator[str]:
    """What keeps a board from being released: its last attempt must be a whole test, and passed or permitted."""
    last = past.attempts[-1]
    if past.reworked is not None:
        yield f"{note.serial} was reworked (note {past.reworked.number}) and not tested since; test it"
    elif last.attempt is None or not last.tells:
        word = last.attempt.outcome.value if last.attempt else "open" if last.open else "damaged"
        yield f"attempt {last.number} of {note.serial} is {word}, so that its verdicts are not known; test it"
    else:
        yield from _verdicts(read_record(reports / last.record), note, past)


def _verdicts(record: Record, note: Note, past: History) -> Iterator[str]:
    name = f"attempt {record.context.attempt} of {note.serial}"
    if not record.unaltered:
        yield f"the record of {name} was altered; restore it from a copy, or test the board"
    lines = counted(record.lines, record.context.waivers)
    unread = [line.measurement.name for line in lines if line.judgement and line.judgement.verdict is Verdict.UNREAD]
    if unread:
        yield f"{name} has no verdict on {', '.join(unread[:5])}; test it"
    outcome = record.closing.outcome
    if outcome is not Outcome.PASS and not _permitted(note, past):
        yield (
            f"{name} is {outcome.value}, and no deviation or concession about it is in force; test it again, "
            "or write down what was granted with --kind concession"
        )


def _permitted(note: Note, past: History) -> bool:
    """Whether a deviation holds on the day of the release, or a concession that was granted after the last test."""
    last, day = past.attempts[-1].record, note.written.date()
    holding = [known for known in past.notes if known.until is None or day <= known.until]
    return any(
        known.kind is NoteKind.DEVIATION or (known.kind is NoteKind.CONCESSION and known.about == last)
        for known in holding
    )
