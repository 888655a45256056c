"""A closed batch as it is gathered: its records that are whole and unaltered, and why the others are left out."""

from __future__ import annotations

import hashlib
import os
from collections import deque
from dataclasses import dataclass
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.records.columns import EVERY, NAMES
from batchtest.records.disk import on_disk
from batchtest.records.names import BEGUN, CSV, METADATA, PART, AttemptName
from batchtest.records.record import Raw, lines_of, read_raw
from batchtest.records.rows import header

#: The first row of a record -> its columns.
_HEADERS = {header(names): names for names in EVERY}


@dataclass(frozen=True, slots=True, kw_only=True)
class Listing:
    """What is in a batch's folder, by the names and times of its files alone.

    Parameters
    ----------
    records : attempts of which a closed file is there, the record or its description, by serial and number.
    open : attempts that were begun and not closed.
    print : SHA-256 over names, sizes and times of the files; another one where any file of a record has changed.
    """

    folder: Path
    records: tuple[AttemptName, ...]
    open: tuple[AttemptName, ...]
    print: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ClosedBatch:
    """The records of a batch that can be gathered, by serial and number, and why the others cannot, by file name."""

    records: tuple[Raw, ...]
    left_out: dict[str, str]


def list_batch(folder: Path) -> Listing:
    """Look at a batch's folder; no file of it is opened.

    Raises
    ------
    RecordError : the folder cannot be read.
    """
    seen = hashlib.sha256()
    names: set[AttemptName] = set()
    growing: set[AttemptName] = set()
    with on_disk(f"{folder} cannot be read"), os.scandir(folder) as entries:
        for entry in sorted(entries, key=lambda entry: entry.name):
            found = AttemptName.of(Path(entry.name))
            if found is None:
                continue
            try:
                stat = entry.stat()
            except FileNotFoundError:  # it is being closed at this very moment
                growing.add(found[0])
                continue
            (growing if found[1] in (PART, BEGUN) else names).add(found[0])
            seen.update(f"{entry.name}\n{stat.st_size}\n{stat.st_mtime_ns}\n".encode())
    return Listing(folder=folder, records=tuple(sorted(names)), open=tuple(sorted(growing)), print=seen.hexdigest())


def read_closed(listing: Listing) -> ClosedBatch:
    """Read every record of a batch, and keep those that are what they were when they were closed."""
    records, left_out = [], {}
    for name in listing.records:
        path = name.path(listing.folder, CSV)
        try:
            records.append(_unaltered(path, listing.folder.name))
        except RecordError as error:
            left_out[path.name] = str(error)
    return ClosedBatch(records=tuple(records), left_out=left_out)


def readable(closed: ClosedBatch, folder: Path) -> ClosedBatch:
    """A closed batch without the records of which a line cannot be read, though all their hashes are right."""
    records, left_out = [], dict(closed.left_out)
    for record in closed.records:
        context = record.sealed.closing.context
        path = AttemptName(context.serial, context.attempt).path(folder, CSV)
        try:
            deque(lines_of(path, record.data), maxlen=0)
            records.append(record)
        except RecordError as error:
            left_out[path.name] = str(error)
    return ClosedBatch(records=tuple(records), left_out=left_out)


def numbered_rows(place: int, record: Raw) -> tuple[bytes, int]:
    """A record's rows without its header, each with the record's place in a list as a first cell, and their count.

    An older record's rows are filled up with empty cells to the columns of today.

    Line ends inside a quoted cell begin no row. Quotes inside such a cell are doubled, so that every second piece of a
    text that is cut at its quotes lies inside a cell.
    """
    cell = b"%d," % place
    first = _header_of(record)
    assert first is not None
    end = b"," * (len(NAMES) - len(_HEADERS[first])) + b"\r\n"
    pieces = record.data[len(first) :].split(b'"')
    outside = [piece.replace(b"\r\n", end + cell) for piece in pieces[::2]]
    rows = sum(piece.count(b"\r\n") for piece in outside)
    pieces[::2] = outside
    return (cell + b'"'.join(pieces)).removesuffix(cell), rows


def batch_folders(folder: Path) -> list[Path]:
    """The batches of a reports folder, by name; of a batch's own folder that one.

    Raises
    ------
    RecordError : the folder cannot be read.
    """
    with on_disk(f"{folder} cannot be read"):
        if _holds_records(folder):
            return [folder]
        return sorted(path for path in folder.iterdir() if path.is_dir() and _holds_records(path))


def _holds_records(folder: Path) -> bool:
    with os.scandir(folder) as entries:
        return any(AttemptName.of(Path(entry.name)) is not None for entry in entries)


def _unaltered(path: Path, batch: str) -> Raw:
    if not path.exists():
        raise RecordError(f"{path} is gone, its description {path.name.removesuffix(CSV)}{METADATA} is there")
    raw = read_raw(path)
    if not raw.unaltered:
        raise RecordError(f"{path} is not what was closed there: it, its description or its name was altered")
    if (own := raw.sealed.closing.context.batch) != batch:
        raise RecordError(f"{path} is of batch {own!r}, not of {batch!r}; put it back where it was")
    if _header_of(raw) is None:
        raise RecordError(f"{path}: line 1: has other columns than a record")
    return raw


def _header_of(record: Raw) -> bytes | None:
    return next((first for first in _HEADERS if record.data.startswith(first)), None)
