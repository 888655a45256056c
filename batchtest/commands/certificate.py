"""`batchtest certificate`: the test results of one attempt as a numbered PDF/A, on record like the attempt itself."""

from __future__ import annotations

import json
from collections.abc import Iterator
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import RecordError, SetupError, nearest

if TYPE_CHECKING:
    from batchtest.records.prints import Print
    from batchtest.records.record import Record

#: A record that is damaged or altered.
EXIT_DAMAGED = 1


@click.command("certificate")
@click.argument("serial")
@click.option("--batch", help="Its batch, where the serial stands in more than one.")
@click.option("--attempt", type=click.IntRange(min=1), help="Which attempt; the last that was closed without it.")
@click.option("--out", type=click.Path(path_type=Path, dir_okay=False), help="Where the PDF goes; beside the record.")
@click.option("--workshop", help="What heads the sheet; the bench file's workshop, or the station, without it.")
@click.option("--operator", default=None, help="Who has it printed; your login name without it.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="The print as one JSON object.")
def command(
    serial: str,
    batch: str | None,
    attempt: int | None,
    out: Path | None,
    workshop: str | None,
    operator: str | None,
    reports: Path,
    as_json: bool,
) -> None:
    """Print the test results of SERIAL: values, limits, uncertainty, verdicts, instruments, and the hash of its record.

    Every print has a number and a record of its own. A record that was altered is not printed (exit code 1).

    Example: batchtest certificate VN-0001 --batch demo
    """
    from batchtest.commands.station import operator_of
    from batchtest.records.names import checked_name

    by = operator_of(operator)
    path = closed_record(reports, checked_name(serial, "serial"), batch, attempt)
    if out is not None and out.exists():
        raise SetupError(f"--out {out} is there already; nothing is overwritten, name another file")
    if out is not None and not out.parent.is_dir():
        raise SetupError(f"--out {out} has no folder to go to; make {out.parent} first")
    try:
        record = _unaltered(path)
    except RecordError as error:
        click.echo(str(error), err=True)
        raise SystemExit(EXIT_DAMAGED) from error
    _say(print_record(record, reports, out, heading(workshop, record), by), record, as_json=as_json)


def closed_record(reports: Path, serial: str, batch: str | None, attempt: int | None) -> Path:
    """The record of a closed attempt: the one named, or the last.

    Raises
    ------
    SetupError : there is none, it was never closed, or the serial stands in several batches; says what there is.
    """
    from batchtest.records.names import CSV, METADATA, AttemptName

    found = {folder.name: endings for folder, endings in _attempts(reports, serial) if _wanted(folder.name, batch)}
    if not found:
        where = f"batch {batch!r} of {reports}" if batch else str(reports)
        raise SetupError(f"no attempt of {serial!r} in {where}; {nearest(serial, _serials(reports))}")
    if len(found) > 1:
        raise SetupError(f"{serial!r} stands in batches {', '.join(sorted(found))}; say which with --batch")
    ((name, endings),) = found.items()
    closed = sorted(number for number, there in endings.items() if {CSV, METADATA} & there)
    if attempt is None and closed:
        attempt = closed[-1]
    if attempt not in closed:
        what = f"attempt {attempt} of" if attempt else "no attempt of"
        said = "was never closed" if attempt in endings else "is not there" if attempt else "was closed"
        rest = f"closed: {', '.join(map(str, closed))}" if closed else "a certificate is of a closed attempt only"
        raise SetupError(f"{what} {serial!r} in batch {name!r} {said}; {rest}")
    return AttemptName(serial, attempt).path(reports / name, CSV)


def heading(workshop: str | None, record: Record) -> str:
    """What heads the sheet: as given, else as the bench file says today, else the station of the record."""
    from batchtest.files.library import load_bench
    from batchtest.formulas import formula_fault

    if workshop is not None:
        if fault := formula_fault(workshop):
            raise SetupError(f"--workshop {fault}")
        return workshop
    with suppress(SetupError):  # the bench of an old record may be gone; its certificate does not hang on that
        return load_bench(Path.cwd(), record.context.bench).workshop or record.context.station
    return record.context.station


def _wanted(name: str, batch: str | None) -> bool:
    """Whether a folder is the batch that was named, or any but the challenges of the bench where none was."""
    from batchtest.records.challenge import BATCH

    return name == batch if batch else name != BATCH


def _attempts(reports: Path, serial: str) -> Iterator[tuple[Path, dict[int, set[str]]]]:
    """Every batch's folder that has files of a serial's attempts: attempt -> endings of its files."""
    from batchtest.records.names import attempt_files

    for folder in sorted(path for path in reports.glob("*") if path.is_dir()):
        endings: dict[int, set[str]] = {}
        for name, ending in attempt_files(folder):
            if name.serial == serial:
                endings.setdefault(name.number, set()).add(ending)
        if endings:
            yield folder, endings


def _serials(reports: Path) -> list[str]:
    from batchtest.records.names import attempt_files

    folders = [path for path in reports.glob("*") if path.is_dir()]
    return sorted({name.serial for folder in folders for name, _ in attempt_files(folder)})


def _unaltered(path: Path) -> Record:
    from batchtest.records.record import read_record

    record = read_record(path)
    if not record.unaltered or record.context.batch != path.parent.name:
        raise RecordError(
            f"{path} is not what it was when it was closed: it, its description, its name or its batch was altered. "
            "No certificate is printed of it; restore both files from a copy"
        )
    return record


def print_record(record: Record, reports: Path, out: Path | None, workshop: str, by: str) -> Print:
    """Print a record's certificate now; raises SetupError and RecordError as `write_print` does."""
    from datetime import datetime
    from importlib.metadata import version

    from batchtest.pages.certificate import Sheet, certificate
    from batchtest.pages.notes import note_line
    from batchtest.records.note import read_notes
    from batchtest.records.prints import Print, write_print

    context = record.context
    wanted = Print(
        number=0,
        batch=record.path.parent.name,
        station=context.station,
        serial=context.serial,
        attempt=context.attempt,
        printed=datetime.now().astimezone().replace(microsecond=0),
        by=by,
        workshop=workshop,
        software=f"batchtest {version('batchtest')}",
        record_sha256=record.sha256,
    )

    def typeset(known: Print) -> bytes:
        sheet = Sheet(
            workshop=workshop,
            number=known.number,
            printed=known.printed,
            head=known.head_sha256,
            notes=tuple(note_line(note) for note in read_notes(reports, context.batch, context.serial)),
        )
        return certificate(record, sheet)

    return write_print(reports, wanted, typeset, out)


def _say(done: Print, record: Record, *, as_json: bool) -> None:
    from batchtest.records.prints import as_table

    if as_json:
        click.echo(json.dumps({"simulated": record.context.simulated, **as_table(done)}))
        return
    if record.context.simulated:
        click.echo("SIMULATED BENCH: no real board was measured")
    outcome = record.closing.outcome.value
    click.echo(f"{done.serial} attempt {done.attempt}: {outcome}: print {done.number} written to {done.pdf}")
