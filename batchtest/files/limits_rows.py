"""The rows of a limits CSV: the kinds there are, and how they become the table that a TOML file would have been."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from typing import Any

from batchtest.errors import Fault, FileFaults, nearest
from batchtest.files.positions import Key, Place, Positions
from batchtest.formulas import formula_fault
from batchtest.quantities import as_found

COLUMNS = ("what", "name", "value", "point", "load", "within", "lower", "upper", "source", "note")
#: Stands for the row's name, and for the place of a load point among those of its rail.
NAME, PLACE = "NAME", -1
_BOUNDS: dict[str, Key] = {"lower": ("lower",), "upper": ("upper",)}
#: Kind of row -> the table that it writes to, and which key of it each column that it uses is.
KINDS: dict[str, tuple[Key, dict[str, Key]]] = {
    "board": ((), {"value": ("board",)}),
    "revision": ((), {"value": ("revision",)}),
    "serials": ((), {"value": ("serials",)}),
    "firmware": ((), {"value": ("firmware",)}),
    "option": ((), {"value": ("option",)}),
    "rule": ((), {"value": ("decision", "rule")}),
    "retests": ((), {"value": ("retests", "allowed")}),
    **{
        f"cold {kind}": (
            ("cold", NAME),
            {"point": ("point",), "lower": (kind, "lower"), "upper": (kind, "upper"), "source": ("source",)},
        )
        for kind in ("resistance", "diode")
    },
    "rail": (("rails", NAME), {"value": ("nominal",), "source": ("source",)}),
    "load point": (("rails", NAME, "at", PLACE), {"load": ("load",), "within": ("within",), **_BOUNDS}),
    "regulation": (("rails", NAME, "regulation"), {"upper": ("upper",)}),
    "output resistance": (("rails", NAME, "resistance"), _BOUNDS),
    "abort": (("rails", NAME, "abort"), {"lower": ("below",), "upper": ("above",)}),
}
#: Keys that are a whole number, which stands in a cell without a unit.
_COUNTS: tuple[Key, ...] = (("retests", "allowed"),)
_DIGITS = re.compile(r"[0-9]{1,9}")


class Rows:
    """Takes a file row by row into the table that a TOML file would have been, and keeps places and faults.

    `columns` says in which column of the file each key stands.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.table: dict[str, Any] = {}
        self.positions = Positions()
        self.columns: dict[Key, str] = {}
        self.faults: list[Fault] = []
        self._loads: dict[str, int] = {}
        self._lines: dict[Key, int] = {}

    def read(self, text: str) -> None:
        """Take every row, the header first; raises FileFaults where that or the CSV itself is wrong."""
        rows = csv.reader(io.StringIO(text, newline=""), strict=True)
        line = 1
        try:
            header = self._header(next(rows, []), text)
            while (line := rows.line_num + 1) and (cells := next(rows, None)) is not None:
                if any(cells):
                    self._row(line, header, cells)
        except csv.Error as error:
            raise FileFaults([Fault(self.file, line, "", f"is no CSV ({error}); close every quote")]) from error

    def _header(self, cells: Sequence[str], text: str) -> list[str]:
        names = [*cells]
        while names and not names[-1]:
            names.pop()
        wrong = list(_header_faults(names, text.partition("\n")[0]))
        if wrong:
            raise FileFaults([Fault(self.file, 1, "", message) for message in wrong])
        return names

    def _row(self, line: int, header: Sequence[str], cells: Sequence[str]) -> None:
        for extra in cells[len(header) :]:
            if extra:
                self._note(line, "", f"has {as_found(extra)} beyond the last column; a comma in a cell needs quotes")
        row = dict(zip(header, cells, strict=False))
        what, name = row.pop("what"), row.pop("name", "")
        if fault := formula_fault(row.pop("note", "")):
            self._note(line, "note", fault)
        if what not in KINDS:
            self._note(line, "what", f"is {as_found(what)}, no kind of row; {nearest(what, list(KINDS))}")
            return
        path, uses = KINDS[what]
        if (NAME in path) != bool(name):
            cure = "is empty; name the rail or check" if NAME in path else f"is not used by {what!r}; leave it empty"
            self._note(line, "name", cure)
            return
        for column, cell in row.items():
            if cell and column not in uses:
                self._note(line, column, f"is not used by {what!r}, which has {as_found(cell)}; leave it empty")
        self._take(line, self._key(path, name), {uses[column]: (column, row.get(column, "")) for column in uses})

    def _key(self, path: Key, name: str) -> Key:
        """The table of a row; load points are counted rail by rail."""
        if PLACE not in path:
            return tuple(name if part == NAME else part for part in path)
        place = self._loads[name] = self._loads.get(name, -1) + 1
        return ("rails", name, "at", place)

    def _take(self, line: int, table: Key, cells: Mapping[Key, tuple[str, str]]) -> None:
        """Put a row's cells where they belong, empty ones by their place alone."""
        first = table or next(iter(cells))
        if (before := self._lines.setdefault(first, line)) != line:
            self._note(line, "what", f"stands already in line {before}; keep one")
            return
        for end in range(1, len(table) + 1):
            self.positions.values.setdefault(table[:end], Place(line, 1))
        if len(table) == 2:
            self.columns[table] = "name"
        for key, (column, cell) in cells.items():
            self.positions.values[table + key] = Place(line, COLUMNS.index(column) + 1)
            self.columns[table + key] = column
            self._put(table + key, cell)

    def _put(self, key: Key, cell: str) -> None:
        """Set a value in the nested table, whose lists grow in order; an empty cell makes only the table around it."""
        here: Any = self.table
        for part, after in pairwise(key):
            empty: Any = [] if isinstance(after, int) else {}
            if isinstance(here, list):
                here.extend([empty] * (len(here) == part))
                here = here[int(part)]
            else:
                here = here.setdefault(part, empty)
        if cell:
            here[key[-1]] = int(cell) if key in _COUNTS and _DIGITS.fullmatch(cell) else cell

    def _note(self, line: int, column: str, message: str) -> None:
        self.faults.append(Fault(self.file, line, f"column {column}" if column else "", message))


def _header_faults(names: Sequence[str], line: str) -> Iterator[str]:
    """What is wrong with the header; a wrong separator alone, since everything follows from it."""
    for separator, word in ((";", "semicolons"), ("\t", "tabs")):
        if separator in line and "," not in line:
            yield f"has {word} between its cells; save it with commas, and with a dot as decimal point"
            return
    if line.startswith("sep="):
        yield f"is {as_found(line.strip())}, which only some spreadsheets know; take this line out"
        return
    for name in names:
        if name not in COLUMNS:
            yield f"has the unknown column {as_found(name)}; {nearest(name, COLUMNS)}"
    for name in sorted({name for name in names if names.count(name) > 1}):
        yield f"has the column {name!r} twice; keep one"
    if missing := [name for name in COLUMNS[:-1] if name not in names]:
        yield f"has no column {', '.join(missing)}; begin the file with the line {','.join(COLUMNS)}"
