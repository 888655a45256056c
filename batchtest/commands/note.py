"""`batchtest note`: rework, a correction, a deviation, a release, added to what is recorded of a board."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError
from batchtest.nouns import NoteKind

if TYPE_CHECKING:
    from batchtest.nouns import Note
    from batchtest.records.history import Earlier, History


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the person wants written down."""

    kind: NoteKind
    by: str
    text: str
    second: str
    part: str
    changed: str
    lot: str
    reference: str
    until: str | None
    quantity: int | None
    attempt: int | None


@click.command("note")
@click.argument("serial")
@click.option("--batch", help="Its batch; needless where it was seen in one only.")
@click.option(
    "--kind", type=click.Choice([kind.value for kind in NoteKind]), help="Without it, what there is is shown."
)
@click.option("--by", help="Who says so.")
@click.option("--and", "second", default="", help="Who else says so, where two have to.")
@click.option("--text", default="", help="What was done or decided, and why.")
@click.option("--part", default="", help="Of a rework: which part, such as R5B.")
@click.option("--changed", default="", help="Of a rework: what was done to it, such as 'replaced'.")
@click.option("--lot", default="", help="Of a rework: the lot of the part that was put in.")
@click.option("--number", "reference", default="", help="Of a deviation or concession: its number, such as DEV-12.")
@click.option("--until", help="Of a deviation or concession: its last day, such as 2026-12-31.")
@click.option("--quantity", type=int, help="Of a deviation or concession: for how many boards.")
@click.option("--attempt", type=int, help="The attempt that it is about; without it the last one.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    serial: str,
    batch: str | None,
    kind: str | None,
    by: str | None,
    reports: Path,
    as_json: bool,
    **said: str | int | None,
) -> None:
    """Show what is recorded of board SERIAL, or add a note to it: a record of its own, linked to the one it is about.

    A deviation is granted before a board is made, a concession after; both have a limit in time or number. A release
    wants every verdict of the last test known, and a pass or a concession. A note cannot be changed or taken back;
    a later one may correct it.

    Example: batchtest note VN-0004 --batch demo --kind rework --by "A. Ito" --part R5B --changed replaced
    --text "open solder joint found under R5B"
    """
    past, found = _past(reports, serial, batch)
    if kind is None:
        _refuse_odd({"by": by, **said})
        _show(past, found, as_json=as_json)
        return
    if not by:
        raise SetupError("--by is missing; a note names who answers for it, such as --by 'A. Ito'")
    wanted = Wanted(kind=NoteKind(kind), by=by, **said)  # type: ignore[arg-type]
    note = _write(reports, past, found, wanted)
    _tell(reports, note, as_json=as_json)


def _past(reports: Path, serial: str, batch: str | None) -> tuple[History, str]:
    """The board's past and the name of its batch.

    Raises
    ------
    SetupError : it was never seen, or in several batches and none is named.
    """
    from batchtest.records.history import batches_of, history_of
    from batchtest.records.names import checked_name

    checked_name(serial, "serial")
    known = batches_of(reports, serial)
    if batch is not None:
        checked_name(batch, "batch")
    if batch is None and len(known) > 1:
        raise SetupError(f"{serial} was seen in batches {', '.join(known)}; say which with --batch")
    if not known or batch not in (None, *known):
        where = f"in {reports}/" if batch is None else f"in batch {batch} of {reports}/"
        cure = f"it was in {', '.join(known)}" if known else "a note is about a board that was tested; mend the serial"
        raise SetupError(f"{serial} was never seen {where}: {cure}")
    found = batch or known[0]
    return history_of(reports, found, serial), found


def _write(reports: Path, past: History, batch: str, wanted: Wanted) -> Note:
    """Write the note; raises SetupError with everything that speaks against it."""
    from batchtest.nouns import Note
    from batchtest.records.note import note_faults, write_note
    from batchtest.records.permission import refusals
    from batchtest.records.record import read_sealed

    about = _about(past, wanted.attempt)
    note = Note(
        number=0,
        batch=batch,
        serial=past.serial,
        station=read_sealed(reports / about.record).closing.context.station,
        kind=wanted.kind,
        by=wanted.by,
        second=wanted.second,
        text=wanted.text,
        about=about.record,
        about_sha256=about.sha256,
        written=datetime.now().astimezone().replace(microsecond=0),
        part=wanted.part,
        changed=wanted.changed,
        lot=wanted.lot,
        reference=wanted.reference,
        until=_day(wanted.until),
        quantity=wanted.quantity,
    )
    if faults := [*note_faults(note), *refusals(reports, note, past)]:
        raise SetupError("\n".join(faults))
    return write_note(reports, note)


def _about(past: History, attempt: int | None) -> Earlier:
    """The closed record that a note is about.

    Raises
    ------
    SetupError : no such attempt, or none that is closed.
    """
    closed = [each for each in past.attempts if each.attempt is not None]
    if not closed:
        raise SetupError(f"{past.serial} has no closed attempt that can be read; begin its batch again to close one")
    if attempt is None:
        return closed[-1]
    found = [each for each in closed if each.number == attempt]
    if not found:
        numbers = ", ".join(str(each.number) for each in closed)
        raise SetupError(f"{past.serial} has no closed attempt {attempt}; closed: {numbers}")
    return found[0]


def _day(text: str | None) -> date | None:
    try:
        return None if text is None else date.fromisoformat(text)
    except ValueError as error:
        raise SetupError(f"--until {text!r} is no day; write it such as 2026-12-31") from error


def _refuse_odd(said: dict[str, str | int | None]) -> None:
    """What only a note can carry, where no kind of note is said: nothing would be written, and that must be told."""
    if odd := [name for name, value in said.items() if value]:
        names = {"second": "and", "reference": "number"}
        options = ", ".join(f"--{names.get(name, name)}" for name in odd)
        kinds = ", ".join(kind.value for kind in NoteKind)
        raise SetupError(f"{options} without --kind writes nothing; add one of: {kinds}")


def _tell(reports: Path, note: Note, *, as_json: bool) -> None:
    """Put it on the pages of the board and of its batch, and say what was written."""
    from batchtest.commands.screen import clean
    from batchtest.pages import write_attempt_page, write_batch_page
    from batchtest.pages.notes import note_line
    from batchtest.records.history import history_of
    from batchtest.records.note import note_file, note_table

    file = reports / note.batch / note_file(note)
    for each in history_of(reports, note.batch, note.serial).attempts:
        if each.attempt is not None:
            write_attempt_page(reports / each.record)
    write_batch_page(reports / note.batch)
    if as_json:
        click.echo(json.dumps({"file": str(file), **note_table(note)}))
        return
    click.echo(clean(f"{note.serial} {note_line(note)}"))
    click.echo(f"written to {file}, about {note.about}; it shows on their pages, and cannot be taken back")


def _show(past: History, batch: str, *, as_json: bool) -> None:
    """Everything that is recorded of a board in a batch, in order."""
    from batchtest.commands.retests import state_of
    from batchtest.commands.screen import clean
    from batchtest.pages.notes import note_line
    from batchtest.records.note import note_table

    if as_json:
        attempts = [
            {
                "attempt": each.number,
                "record": each.record,
                "outcome": each.attempt.outcome.value if each.attempt else None,
                "first_cause": each.attempt.first_cause if each.attempt else None,
                "sha256": each.sha256 or None,
            }
            for each in past.attempts
        ]
        notes = [note_table(note) for note in past.notes]
        click.echo(json.dumps({"serial": past.serial, "batch": batch, "attempts": attempts, "notes": notes}))
        return
    click.echo(f"{past.serial} in batch {batch}")
    for each in past.attempts:
        click.echo(clean(f"attempt {each.number}: {state_of(each)}"))
        for note in past.notes:
            if note.about == each.record:
                click.echo(clean(f"  {note_line(note)}"))
