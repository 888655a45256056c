"""A record read back: its lines, what became of the attempt, and whether anybody has changed it since."""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Context, Line
from batchtest.records.columns import EVERY
from batchtest.records.disk import on_disk
from batchtest.records.metadata import Closing, Sealed, read_description
from batchtest.records.names import CSV, METADATA, AttemptName
from batchtest.records.rows import line_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Record:
    """A closed record.

    Parameters
    ----------
    path : its CSV file.
    closing : context, outcome, first cause, times, proof readings and the hash before this one.
    sha256 : the record's own hash in its station's chain.
    unaltered : `False` where the CSV, its context or its name is not what it was when the record was closed.
    """

    path: Path
    closing: Closing
    lines: tuple[Line, ...]
    sha256: str
    unaltered: bool

    @property
    def context(self) -> Context:
        """What the record says besides its lines."""
        return self.closing.context

    @property
    def attempt(self) -> Attempt:
        """The attempt that this is the record of, lines included."""
        return attempt_of(self.closing, self.path, self.lines)


@dataclass(frozen=True, slots=True, kw_only=True)
class Raw:
    """A closed record as bytes: what stands beside it, its CSV file, and whether anybody has changed either."""

    sealed: Sealed
    data: bytes
    unaltered: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class Part:
    """What is on the disk of an attempt that was not closed: its lines, and the bytes of a last line that was cut off.

    `whole` are the bytes of the lines and the header; `torn` is empty where nothing was cut off.
    """

    path: Path
    lines: tuple[Line, ...]
    whole: bytes
    torn: bytes


def read_record(path: Path) -> Record:
    """Read a closed record, `<serial>.<attempt>.csv`, and what stands beside it.

    Raises
    ------
    RecordError : a file is missing or damaged; names the file, and the line and column or the key. A record that can be
        read but was altered is no error: see `unaltered`.
    """
    raw = read_raw(path)
    return Record(
        path=path,
        closing=raw.sealed.closing,
        lines=tuple(lines_of(path, raw.data)),
        sha256=raw.sealed.sha256,
        unaltered=raw.unaltered,
    )


def read_raw(path: Path) -> Raw:
    """Read a closed record without looking into its lines; raises RecordError as `read_record` does."""
    sealed = read_sealed(path)
    with on_disk(f"{path} cannot be read"):
        data = path.read_bytes()
    context = sealed.closing.context
    same_name = AttemptName.of(path) == (AttemptName(context.serial, context.attempt), CSV)
    same_data = hashlib.sha256(data).hexdigest() == sealed.closing.csv_sha256
    return Raw(sealed=sealed, data=data, unaltered=same_name and same_data and sealed.intact)


def read_sealed(path: Path) -> Sealed:
    """Read only what stands beside a record's CSV file; raises RecordError as `read_record` does."""
    metadata = path.with_name(path.name.removesuffix(CSV) + METADATA)
    with on_disk(f"{path} has no description that can be read"):
        data = metadata.read_bytes()
    return read_description(_text(metadata, data), metadata.name)


def read_part(path: Path) -> Part:
    """Read what there is of an attempt that was not closed, `<serial>.<attempt>.csv.part`.

    Raises
    ------
    RecordError : a line is damaged; names the file, line and column. A last line that was cut off is left out.
    """
    with on_disk(f"{path} cannot be read"):
        data = path.read_bytes()
    whole = data
    while whole and not _ends_with_a_row(whole):
        whole = whole[: whole[:-1].rfind(b"\r\n") + 2] if b"\r\n" in whole[:-1] else b""
    lines = tuple(lines_of(path, whole)) if whole else ()
    return Part(path=path, lines=lines, whole=whole, torn=data[len(whole) :])


def attempt_of(closing: Closing, path: Path, lines: tuple[Line, ...] = ()) -> Attempt:
    """The attempt that a closing tells of, with its record's path from the reports folder."""
    context = closing.context
    return Attempt(
        board=context.board,
        batch=context.batch,
        serial=context.serial,
        number=context.attempt,
        outcome=closing.outcome,
        first_cause=closing.first_cause,
        started=context.started,
        duration_s=closing.duration_s,
        record=f"{path.parent.name}/{path.name}",
        lines=lines,
    )


def lines_of(path: Path, data: bytes) -> Iterator[Line]:
    """The lines of a record's bytes; raises RecordError with file, line and column."""
    rows = csv.reader(io.StringIO(_text(path, data), newline=""), strict=True)
    try:
        names = tuple(next(rows, ()))
        if names not in EVERY:
            raise RecordError(f"{path}: line 1: has other columns than a record")
        while (begin := rows.line_num + 1) and (cells := next(rows, None)) is not None:
            yield _line(path, begin, cells, names)
    except csv.Error as error:
        raise RecordError(f"{path}: line {rows.line_num}: {error}; the record is damaged") from error


def _ends_with_a_row(data: bytes) -> bool:
    """A row ends with CR LF outside quotes; every quote inside a quoted cell is doubled, so they pair up."""
    return data.endswith(b"\r\n") and data.count(b'"') % 2 == 0


def _line(path: Path, number: int, cells: list[str], names: tuple[str, ...]) -> Line:
    try:
        return line_of(cells, names)
    except RecordError as error:
        raise RecordError(f"{path}: line {number}: {error}") from error


def _text(path: Path, data: bytes) -> str:
    try:
        return data.decode()
    except UnicodeDecodeError as error:
        line = data[: error.start].count(b"\n") + 1
        raise RecordError(f"{path}: line {line}: is not UTF-8; the record is damaged") from error
