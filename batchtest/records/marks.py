"""Short marks of every row, column and key of a record, so that what was changed can be named and not only found.

They stand in the record's description, under its hash. A mark is the first 8 hex digits of a SHA-256: enough to point
with; whether anything was changed at all is told by the whole hashes alone.
"""

from __future__ import annotations

import csv
import hashlib
import io
from collections.abc import Iterator, Mapping, Sequence
from itertools import zip_longest
from typing import Any

from batchtest.records.chain import canonical
from batchtest.records.columns import NAMES

#: The key of the description that holds the marks.
MARKS = "marks"
#: What `changed_cells` says where every cell is as it was.
QUOTES = "line ends or quotes"
_DIGITS = 8


def marks_of(block: Mapping[str, Any], data: bytes) -> dict[str, Any]:
    """The marks of a record.

    Parameters
    ----------
    block : what is described of it; its marks and its own hash are left out.
    data : the bytes of its CSV file.
    """
    rows, columns = _table_marks(data)
    return {"rows": rows, "columns": columns, "keys": {key: _mark(canonical(value)) for key, value in _keys(block)}}


def changed_cells(marks: Mapping[str, Any], data: bytes) -> str:
    """Where a CSV file is not what was marked: "line 7, column value"; empty where the marks do not tell."""
    rows, columns = _table_marks(data)
    was_rows, was_columns = _texts(marks.get("rows")), _texts(marks.get("columns"))
    if not was_rows or not was_columns:
        return ""
    if len(rows) != len(was_rows):
        first = next(i for i, pair in enumerate(zip_longest(rows, was_rows), start=1) if pair[0] != pair[1])
        return f"line {first}: {len(was_rows)} lines were written, {len(rows)} are there"
    lines = [str(i) for i, pair in enumerate(zip(rows, was_rows, strict=True), start=1) if pair[0] != pair[1]]
    pairs = zip(NAMES, columns, was_columns, strict=False)
    names = [name for name, is_now, was in pairs if is_now != was]
    said = [f"{'line' if len(lines) == 1 else 'lines'} {', '.join(lines)}"] if lines else []
    return ", ".join(said + ([f"column {', '.join(names)}"] if names else [])) or QUOTES


def changed_keys(marks: Mapping[str, Any], block: Mapping[str, Any]) -> tuple[str, ...]:
    """Which keys of a description are not what was marked; none where the marks do not tell."""
    was = marks.get("keys")
    if not isinstance(was, Mapping):
        return ()
    now = {key: _mark(canonical(value)) for key, value in _keys(block)}
    return tuple(key for key in {**was, **now} if was.get(key) != now.get(key))


def _table_marks(data: bytes) -> tuple[list[str], list[str]]:
    """A mark of each row, the header included, and of each column."""
    text = data.decode("utf-8", "backslashreplace")
    try:
        rows = list(csv.reader(io.StringIO(text, newline="")))
    except csv.Error:
        rows = [line.split(",") for line in text.split("\r\n")]
    columns = zip_longest(*rows, fillvalue="")
    return [_mark("\x1f".join(row)) for row in rows], [_mark("\x1f".join(column)) for column in columns]


def _keys(block: Mapping[str, Any]) -> Iterator[tuple[str, Any]]:
    for key, value in block.items():
        if key in (MARKS, "sha256"):
            continue
        if isinstance(value, Mapping):
            yield from ((f"{key}.{inner}", held) for inner, held in value.items())
        else:
            yield key, value


def _texts(value: object) -> Sequence[str]:
    return value if isinstance(value, list) else ()


def _mark(text: str) -> str:
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()[:_DIGITS]
