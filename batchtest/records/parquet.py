"""A batch's records as one Parquet file, written and looked into by DuckDB; its SQL lies in `sql/`.

A file says of itself which records it holds and which were left out, in its own footer: it cannot get apart from that.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from contextlib import suppress
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING, Any

from batchtest.errors import RecordError
from batchtest.nouns import Role
from batchtest.records.batch import cause_name
from batchtest.records.closed import numbered_rows
from batchtest.records.record import Raw

if TYPE_CHECKING:
    import duckdb

_SQL = Path(__file__).parent / "sql"


class UnreadableRows(RecordError):
    """A record holds what is no row of a record."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Stamp:
    """What a gathered file says of itself.

    Parameters
    ----------
    print : of the batch's folder when it was gathered, and of the SQL that did it.
    stations : all that had a part in the batch; a store has a file for each.
    records : hash of each record that it holds, by "serial.attempt".
    left_out : records of the batch that are in no file, and why.
    """

    print: str
    stations: tuple[str, ...]
    records: dict[str, str]
    left_out: dict[str, str]


def fold(database: duckdb.DuckDBPyConnection, records: Sequence[Raw], stamp: Stamp, path: Path) -> int:
    """Write the lines and contexts of some records of one batch as one Parquet file, and give the count of lines.

    May be called from several threads with one database.

    Raises
    ------
    RecordError : it is not written; no file is left. `UnreadableRows` where the records are at fault.
    """
    import duckdb

    try:
        with TemporaryDirectory(prefix="batchtest-") as work, database.cursor() as own:
            rows = Path(work) / "rows.csv"
            expected = _write_rows(rows, records)
            values = {
                "rows": str(rows),
                "contexts": json.dumps([_context(place, record) for place, record in enumerate(records)]),
                "path": str(path),
                "stamp": json.dumps(asdict(stamp)),
            }
            (written,) = own.execute(sql("fold"), values).fetchone() or (0,)
    except (duckdb.InvalidInputException, duckdb.ConversionException) as error:
        raise _not_written(path, str(error), UnreadableRows) from error
    except (OSError, duckdb.Error) as error:
        raise _not_written(path, str(error)) from error
    if written != expected:
        raise _not_written(path, f"of {expected} lines {written} were taken", UnreadableRows)
    return expected


def stamps(database: duckdb.DuckDBPyConnection, files: Sequence[str]) -> dict[str, Stamp]:
    """What each file says of itself, by its name; one that cannot be read, or was not gathered, says nothing."""
    import duckdb

    found: list[tuple[str, str]] = []
    try:
        found = database.execute(sql("stamps"), {"files": list(files)}).fetchall() if files else []
    except duckdb.Error:
        if len(files) > 1:
            return {key: stamp for file in files for key, stamp in stamps(database, [file]).items()}
    return {name: stamp for name, text in found if (stamp := _stamp(text)) is not None}


def connection() -> duckdb.DuckDBPyConnection:
    """A database of its own in memory, on one thread, that fetches nothing from anywhere; close it after use."""
    import duckdb

    database = duckdb.connect()
    database.execute(sql("alone"))
    database.execute(sql("original"))
    return database


@cache
def sql(name: str) -> str:
    """The text of `sql/<name>.sql`."""
    return (_SQL / f"{name}.sql").read_text(encoding="utf-8")


@cache
def sql_print() -> str:
    """Short hash of what decides the columns of a gathered file: with other SQL it is gathered anew."""
    return hashlib.sha256((sql("original") + sql("fold")).encode()).hexdigest()[:16]


def _write_rows(path: Path, records: Sequence[Raw]) -> int:
    """Write the rows of all records, those bytes of which the hashes were taken; gives their count."""
    count = 0
    with path.open("wb") as file:
        for place, record in enumerate(records):
            rows, lines = numbered_rows(place, record)
            file.write(rows)
            count += lines
    return count


def _not_written(path: Path, why: str, kind: type[RecordError] = RecordError) -> RecordError:
    with suppress(OSError):
        path.unlink(missing_ok=True)
    return kind(f"{path} is not written: {why}")


def _stamp(text: str) -> Stamp | None:
    try:
        found = json.loads(text)
        return Stamp(**{**found, "stations": tuple(found["stations"])})
    except (ValueError, TypeError, KeyError):
        return None


def _context(place: int, record: Raw) -> dict[str, Any]:
    """What of a record's context each of its lines carries."""
    closing = record.sealed.closing
    context = closing.context
    serials = {instrument.role: instrument.serial for instrument in context.instruments}
    return {
        "record": place,
        "board": context.board,
        "revision": context.board_revision,
        "kind": context.kind,
        "batch": context.batch,
        "serial": context.serial,
        "attempt": context.attempt,
        "outcome": closing.outcome,
        "cause": None if closing.first_cause is None else cause_name(closing.first_cause),
        "first_cause": closing.first_cause,
        "station": context.station,
        "operator": context.operator,
        "fixture": context.fixture,
        "cable": context.cable,
        "bench": context.bench,
        "simulated": context.simulated,
        "waived": bool(context.waivers),
        "meter_serial": serials.get(Role.METER),
        "load_serial": serials.get(Role.LOAD),
        "supply_serial": serials.get(Role.SUPPLY),
        "scanner_serial": serials.get(Role.SCANNER),
        "ambient_C": context.ambient_C,
        "rule": context.rule,
        "software": context.software,
        "started": context.started.isoformat(),
        "ended": closing.ended.isoformat(),
        "duration_s": closing.duration_s,
        "sha256": record.sealed.sha256,
        "retest": "" if context.retest is None else context.retest.reason,
    }
