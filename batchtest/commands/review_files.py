"""Every number of a review for machines: one JSON object, or a folder of CSV files, one for each kind of row."""

from __future__ import annotations

import csv
import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import asdict, fields, is_dataclass
from pathlib import Path
from typing import Any

from batchtest.formulas import harmless
from batchtest.records.disk import on_disk, write_whole
from batchtest.review.answers.model import BoardReview, MeasurementReview, Review

#: A row of a CSV file: column -> what stands there.
Cells = dict[str, Any]


def as_json(review: Review) -> str:
    """The whole review as one JSON object; raises ValueError where it holds a number that JSON has no word for."""
    return json.dumps(asdict(review), allow_nan=False)


def write_tables(folder: Path, review: Review) -> list[Path]:
    """Write every table of a review as `<table>.csv`, RFC 4180; an empty one has no file.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    written = []
    with on_disk(f"{folder} cannot be written"):
        folder.mkdir(parents=True, exist_ok=True)
        for name, rows in tables(review).items():
            if rows:
                write_whole(folder / f"{name}.csv", _as_csv(rows))
                written.append(folder / f"{name}.csv")
    return written


def tables(review: Review) -> dict[str, list[Cells]]:
    """The rows of every table; values in base units, shares and intervals as ratios."""
    found: dict[str, list[Cells]] = {
        "advice": [flat(advice) for advice in review.worth_acting_on],
        "notices": [{"notice": notice} for notice in review.notices],
        "left_out": [flat(left) for left in review.looked.left_out],
        "looked": [flat(review.looked)],
        "definitions": [{"figure": name, "meaning": meaning} for name, meaning in review.definitions.items()],
    }
    for board in review.boards:
        for name, row in _of_board(board):
            found.setdefault(name, []).append({"board": board.board, **row})
    return found


def _of_board(board: BoardReview) -> Iterator[tuple[str, Cells]]:
    """Each row of a board type, with the table that it belongs to."""
    yield "yields", {"by": "", "group": "", **flat(board.yields)}
    for grouping in board.groupings:
        for group in grouping.groups:
            yield "yields", {"by": str(grouping.by), "group": group.name, **flat(group.yields)}
    for cause in board.pareto.causes:
        yield "causes", flat(cause)
    for part in board.repaired:
        yield "parts", {**flat(part), "months": "; ".join(f"{month}: {count}" for month, count in part.months.items())}
    for stop in board.stops:
        yield "stops", flat(stop)
    for doubt in board.doubts:
        yield "doubts", {**flat(doubt), "where": "; ".join(doubt.where)}
    for compared in board.comparisons:
        for one in compared.compared:
            yield "comparisons", {"by": str(compared.by), **flat(one)}
    if board.stop_chart is not None:
        for point in board.stop_chart.points:
            yield "charts", {"chart": board.stop_chart.kind, "centre": board.stop_chart.centre, **flat(point)}
    for found in board.measurements:
        of_it = {name: cell for name, cell in flat(found).items() if not name.startswith("what_")}
        yield "measurements", {**flat(found.what), **of_it}
        yield from _of_measurement(found)


def _of_measurement(found: MeasurementReview) -> Iterator[tuple[str, Cells]]:
    """What a measurement has several of; limits tell apart those of one name."""
    what = flat(found.what)
    for bar in found.histogram:
        yield "histograms", {**what, "from": bar.lower, "to": bar.upper, "boards": bar.count}
    for chart in found.charts:
        for point in chart.points:
            rules = "; ".join(f"{signal.rule}: {signal.words}" for signal in point.signals)
            row = {f"point_{name}": cell for name, cell in flat(point).items()}
            yield "charts", {**what, "chart": chart.kind, "centre": chart.centre, **row, "run_rules": rules}
    for shift in found.shifts:
        yield "shifts", {**what, **flat(shift)}
    for outlier in found.part_average.outliers if found.part_average else ():
        yield "outliers", {**what, **flat(outlier)}


def flat(value: Any, before: str = "") -> Cells:
    """The fields of a frozen value as one row; a value within it gives its name to its fields, rows are left out.

    >>> from batchtest.review.answers.model import Interval, LimitFit, Fit
    >>> flat(LimitFit(fit=Fit.FITS, why="wide enough"))
    {'fit': 'fits', 'why': 'wide enough'}
    """
    cells: Cells = {}
    for field in fields(value):
        held = getattr(value, field.name)
        if is_dataclass(held):
            cells |= flat(held, f"{before}{field.name}_")
        elif not isinstance(held, tuple):
            cells[before + field.name] = None if held is None else held if isinstance(held, int | float) else str(held)
    return cells


def _as_csv(rows: list[Cells]) -> str:
    """A header with every column that any row has, in the order in which they come; no text that a spreadsheet runs.

    What is nothing in one row and has parts in another has columns for its parts alone.
    """
    every = list(dict.fromkeys(name for row in rows for name in row))
    known = {name for row in rows for name, held in row.items() if held is not None}
    columns = [name for name in every if name in known or not any(one.startswith(f"{name}_") for one in every)]
    text = io.StringIO(newline="")
    writer = csv.writer(text)
    writer.writerow(columns)
    writer.writerows([_cell(row, name) for name in columns] for row in rows)
    return text.getvalue()


def _cell(row: Mapping[str, Any], name: str) -> str:
    held = row.get(name)
    match held:
        case None:
            return ""
        case bool():
            return str(held).lower()
        case int() | float():
            return repr(held)
        case _:
            return harmless(str(held))
