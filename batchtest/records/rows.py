"""A `Line` as a row of a record, and a row read back into the very same `Line`."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import TypeVar

from batchtest.errors import RecordError
from batchtest.formulas import harmless, original
from batchtest.nouns import Judgement, Limit, Line, Measurand, Measurement, Phase, Reading, Verdict
from batchtest.records.columns import NAMES, RATIO, TEXTS

Kind = TypeVar("Kind")


def header(names: Sequence[str] = NAMES) -> bytes:
    """The first row of a record, as it goes to the disk."""
    return _encoded(names)


def row_of(line: Line) -> bytes:
    """A line as it goes to the disk, line end included.

    Raises
    ------
    RecordError : a time without offset, a reading in another unit than its measurement, a text that is not Unicode.
    """
    cells = _cells(line)
    try:
        return _encoded([harmless(cells[name]) if name in TEXTS else cells[name] for name in NAMES])
    except UnicodeEncodeError as error:
        raise RecordError(f"line {line.number} ({line.measurement.name}): {error.object!r} is not Unicode") from error


def line_of(cells: Sequence[str], names: Sequence[str] = NAMES) -> Line:
    """Read a row's cells back into the very line they were made from.

    Parameters
    ----------
    names : of the record's columns, one of `columns.EVERY`; a cell of a column that it has not is empty.

    Raises
    ------
    RecordError : names the column that cannot be read.
    """
    if len(cells) != len(names):
        raise RecordError(f"has {len(cells)} cells, not {len(names)}")
    found = {name: original(cell) if name in TEXTS else cell for name, cell in zip(names, cells, strict=True)}
    row = _Row(dict.fromkeys(NAMES, "") | found)
    return Line(
        number=row.read("number", int),
        time=row.read("time", _time),
        elapsed_s=row.read("elapsed_s", float),
        measurement=_measurement(row),
        reading=_reading(row),
        judgement=_judgement(row),
    )


def _encoded(cells: Sequence[str]) -> bytes:
    text = io.StringIO()
    csv.writer(text).writerow(cells)
    return text.getvalue().encode()


def _cells(line: Line) -> dict[str, str]:
    if line.time.utcoffset() is None:
        raise RecordError(f"line {line.number}: the time {line.time} has no offset")
    return {
        "number": str(line.number),
        "time": line.time.isoformat(),
        "elapsed_s": _number(line.elapsed_s),
        **_measurement_cells(line.measurement),
        **_reading_cells(line),
        **_judgement_cells(line.judgement),
    }


def _measurement_cells(measurement: Measurement) -> dict[str, str]:
    limit, abort = measurement.limit or Limit(), measurement.abort or Limit()
    return {
        "name": measurement.name,
        "phase": measurement.phase.value,
        "point": measurement.point,
        "measurand": measurement.measurand.value,
        "unit": RATIO if measurement.unit == "%" else measurement.unit,
        "range": _number(measurement.range),
        "lower": _number(limit.lower),
        "upper": _number(limit.upper),
        "limit_source": limit.source,
        "abort_lower": _number(abort.lower),
        "abort_upper": _number(abort.upper),
        "abort_source": abort.source,
        "load_point": "" if measurement.load_point is None else str(measurement.load_point),
        "load_A": _number(measurement.load_A),
        "expected": _number(measurement.expected),
        "time_constant_s": _number(measurement.settle_s),
    }


def _reading_cells(line: Line) -> dict[str, str]:
    reading = line.reading
    if reading.unit != line.measurement.unit:
        name, unit = line.measurement.name, line.measurement.unit
        raise RecordError(f"line {line.number} ({name}): read in {reading.unit!r}, to be in {unit!r}")
    return {
        "value": _number(reading.value),
        "beyond": _number(reading.beyond),
        "spread": _number(reading.spread),
        "count": str(reading.count),
        "uncertainty": _number(reading.uncertainty),
        "raw": reading.raw,
        "nplc": _number(reading.nplc),
        "settle_s": _number(reading.settle_s),
        "settled": "true" if reading.settled else "false",
        "regulated": "true" if reading.regulated else "false",
        "status": reading.status,
    }


def _judgement_cells(judgement: Judgement | None) -> dict[str, str]:
    if judgement is None:
        return {"verdict": "", "guard": "", "why": ""}
    return {"verdict": judgement.verdict.value, "guard": _number(judgement.guard), "why": judgement.why}


def _number(value: float | None) -> str:
    """The shortest text that reads back as the same number; XML Schema's words where it is not finite."""
    if value is None:
        return ""
    return repr(float(value)).replace("inf", "INF").replace("nan", "NaN")


def _time(text: str) -> datetime:
    time = datetime.fromisoformat(text)
    if time.utcoffset() is None:
        raise ValueError("no offset")
    return time


def _flag(text: str) -> bool:
    return {"true": True, "false": False}[text]


class _Row:
    """The cells of one row by column."""

    def __init__(self, cells: dict[str, str]) -> None:
        self.cells = cells

    def read(self, column: str, kind: Callable[[str], Kind]) -> Kind:
        text = self.cells[column]
        try:
            return kind(text)
        except (ValueError, KeyError) as error:
            raise RecordError(f"column {column}: {text!r} cannot be read; the record is damaged") from error

    def optional(self, column: str, kind: Callable[[str], Kind]) -> Kind | None:
        return self.read(column, kind) if self.cells[column] else None

    def limit(self, lower: str, upper: str, source: str) -> Limit | None:
        bounds = self.optional(lower, float), self.optional(upper, float)
        text = self.cells[source]
        return Limit(lower=bounds[0], upper=bounds[1], source=text) if text or bounds != (None, None) else None


def _measurement(row: _Row) -> Measurement:
    return Measurement(
        name=row.cells["name"],
        phase=row.read("phase", Phase),
        point=row.cells["point"],
        measurand=row.read("measurand", Measurand),
        unit=_unit(row),
        range=row.read("range", float),
        limit=row.limit("lower", "upper", "limit_source"),
        abort=row.limit("abort_lower", "abort_upper", "abort_source"),
        load_point=row.optional("load_point", int),
        load_A=row.optional("load_A", float),
        expected=row.optional("expected", float),
        settle_s=row.read("time_constant_s", float),
    )


def _reading(row: _Row) -> Reading:
    return Reading(
        value=row.optional("value", float),
        unit=_unit(row),
        beyond=row.optional("beyond", float),
        spread=row.optional("spread", float),
        count=row.read("count", int),
        uncertainty=row.optional("uncertainty", float),
        raw=row.cells["raw"],
        nplc=row.read("nplc", float),
        settle_s=row.read("settle_s", float),
        settled=row.read("settled", _flag),
        status=row.cells["status"],
        regulated=row.optional("regulated", _flag) is not False,
    )


def _judgement(row: _Row) -> Judgement | None:
    verdict = row.optional("verdict", Verdict)
    if verdict is None:
        return None
    return Judgement(verdict=verdict, guard=row.read("guard", float), why=row.cells["why"])


def _unit(row: _Row) -> str:
    unit = row.cells["unit"]
    return "%" if unit == RATIO else unit
