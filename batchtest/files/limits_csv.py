"""Limits kept in a spreadsheet: `limits/<board>.csv`, one row a limit, as the very values that a TOML file gives.

RFC 4180 with a header, UTF-8. Column `what` names the kind of a row, and says with it which other columns it uses; a
quantity has its unit in its cell, as in a TOML file. Column `note` is for people. A byte order mark, empty rows and
empty columns at the end are what spreadsheets leave behind, and say nothing.
"""

from __future__ import annotations

from codecs import BOM_UTF8
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import Path

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from batchtest.errors import Fault, FileFaults
from batchtest.files.fields import Wrong
from batchtest.files.limits import LimitsFile
from batchtest.files.limits_rows import KINDS, NAME, Rows
from batchtest.files.positions import Key, show_key
from batchtest.files.read import Document, Written, decode, name_in, read_bytes
from batchtest.files.words import plain


@dataclass(frozen=True, slots=True)
class WrittenCsv(Written):
    """What a limits CSV says, and in which column each key stands."""

    columns: Mapping[Key, str] = field(default_factory=dict)

    def fault(self, key: Key, message: str) -> Fault:
        """A fault of this file at a key, by its column where it stands in one."""
        column = self.columns.get(key)
        return Fault(self.file, self.positions.line(key), f"column {column}" if column else show_key(key), message)


def read_limits_csv(path: Path, root: Path) -> Document[LimitsFile]:
    """Read a limits CSV.

    Raises
    ------
    FileFaults : the file is missing, not UTF-8, no CSV, or holds what limits do not take; all faults at once.
    """
    return parse_limits_csv(read_bytes(path, root), name_in(root, path))


def parse_limits_csv(data: bytes, file: str) -> Document[LimitsFile]:
    """Read the bytes of a limits CSV; `file` is its name in messages. Raises as `read_limits_csv`."""
    text = decode(data.removeprefix(BOM_UTF8), file)
    reading = Rows(file)
    reading.read(text)
    own = WrittenCsv(file, reading.table, reading.positions, sha256(data).hexdigest(), reading.columns)
    try:
        model = LimitsFile.model_validate(reading.table)
    except ValidationError as error:
        wrong = dict.fromkeys(each for detail in error.errors() for each in _in_words(detail, own))
        raise FileFaults([*reading.faults, *(own.fault(key, message) for key, message in wrong)]) from error
    if reading.faults:
        raise FileFaults(reading.faults)
    return Document(model, own)


def _in_words(detail: ErrorDetails, own: WrittenCsv) -> Iterator[Wrong]:
    """One of pydantic's findings in plain words; what is missing, in those of rows and columns."""
    key: Key = tuple(part for part in detail["loc"] if part != "[key]")
    if detail["type"] not in ("missing", "too_short"):
        yield from plain(detail, LimitsFile)
    elif key in own.columns:
        yield key, "is empty; it needs a value"
    else:
        kind = next(kind for kind, (path, uses) in KINDS.items() if _is_of(key, path, uses))
        of = f" named {key[1]!r}" if len(key) > 1 else ""
        yield key[:2], f"there is no row {kind!r}{of}; add one"


def _is_of(key: Key, path: Key, uses: Mapping[str, Key]) -> bool:
    """Whether a missing key is one that a kind of row writes, or a table around it."""
    whole = [path + used for used in uses.values() if len(key) <= len(path + used)]
    return any(all(part in (found, NAME) for found, part in zip(key, each, strict=False)) for each in whole)
