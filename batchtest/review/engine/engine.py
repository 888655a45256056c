"""A question asked, and its rows given: what has to be worked out before it is worked out once."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import fields
from decimal import Decimal
from typing import Any, TypeVar

from batchtest.errors import SetupError, nearest
from batchtest.review import questions as q
from batchtest.review.engine.database import Database, Duck
from batchtest.review.engine.slices import slices
from batchtest.review.engine.sources import Sources
from batchtest.review.engine.text import Value, question_text

Row = TypeVar("Row")

#: Tables and views that questions stand on, and what each of them stands on.
_STEPS: dict[str, tuple[str, ...]] = {
    "attempts": (),
    "cells": ("attempts",),
    "firsts": ("attempts",),
    "lines": ("firsts",),
    "counted": ("lines",),
    "troubled": ("lines",),
    "quartered": ("lines", "counted", "cells"),
}
#: Those that are not worth keeping: the rows of `lines` are most of the readings.
_VIEWS = frozenset({"lines"})
#: Those of which a slice is worked out after the other, where a database says how many readings it takes at once.
_SLICED = frozenset({"quartered"})
#: Columns that files of earlier versions lack.
_LATER = ("regulated", "repeated", "retest")
#: Question -> its file in `sql/`, and what it stands on.
_QUESTIONS: dict[type, tuple[str, tuple[str, ...]]] = {
    q.Boards: ("boards", ("firsts", "cells")),
    q.Stops: ("stops", ("attempts",)),
    q.Causes: ("causes", ("firsts", "troubled")),
    q.Measured: ("measured", ("counted", "cells")),
    q.Spots: ("spots", ("lines", "cells")),
    q.Doubts: ("doubts", ("troubled", "cells")),
    q.Bin: ("bins", ("lines", "counted", "cells")),
    q.Quartiles: ("quartiles", ("quartered", "cells")),
    q.Outlier: ("outliers", ("lines", "quartered")),
    q.Individual: ("individuals", ("lines", "firsts")),
    q.Golden: ("golden", ("attempts",)),
    q.Totals: ("totals", ("attempts", "firsts", "counted")),
}
#: What rows can be counted by.
GROUPS = (*(field.name for field in fields(q.Cell)), "point", "load_point")
#: What attempts can be chosen by, and what readings can.
_OF_ATTEMPTS = (*(field.name for field in fields(q.Cell)), "serial")
_OF_READINGS = ("name", "point", "load_point")
#: The engine that needs nothing, and the start of an address of a cluster.
DUCKDB, LOCAL_SPARK, SPARK = "duckdb", "local-spark", "spark://"


class Engine:
    """Answers questions on one set of files and one selection; holds a database, so open it by `open_engine`."""

    def __init__(self, database: Database, selection: q.Selection) -> None:
        self._database = database
        self._selection = selection
        self._values = _selected(selection)
        self._done: set[str] = set()

    def ask(self, question: type[Row], *, by: Sequence[str] = (), names: Sequence[str] | None = None) -> list[Row]:
        """Rows of a question, in no order.

        Parameters
        ----------
        question : a class of `review.questions`.
        by : fields to count by besides the board type, of those in `GROUPS`; of no effect on what is no `Cell`.
        names : measurements to ask of; `None` is all.

        Raises
        ------
        RecordError : a gathered file cannot be read.
        """
        file, stands_on = _QUESTIONS[question]
        self._prepare(stands_on)
        values = self._values | {f"by_{name}": name in by for name in GROUPS} | _chosen("asked", names)
        columns, rows = self._database.rows(question_text(file, values))
        return [question(**dict(zip(columns, map(_plain, row), strict=True))) for row in rows]

    def check(self) -> None:
        """See that the files can be counted.

        Raises
        ------
        SetupError : a record is there twice, a file lacks columns, or nothing is left of what was asked for.
        """
        columns, _ = self._database.rows("SELECT * FROM readings LIMIT 0")
        if missing := [name for name in _LATER if name not in columns]:
            raise SetupError(f"what was gathered lacks {', '.join(missing)}: an earlier batchtest did it; gather again")
        self._prepare(("attempts",))
        _, faults = self._database.rows(question_text("faults", self._values))
        for fault, batch, serial, attempt, records in faults:
            raise SetupError(_FAULTS[fault].format(batch=batch, serial=serial, attempt=attempt, records=records))
        for name, wanted in self._selection.where.items():
            _, rows = self._database.rows(f"SELECT DISTINCT CAST({name} AS VARCHAR) FROM {_table(name)}")
            known = sorted(str(row[0]) for row in rows if row[0] is not None)
            for value in wanted:
                if value not in known:
                    raise SetupError(f"there is no {name.replace('_', ' ')} {value!r}; {nearest(value, known)}")

    def _prepare(self, names: Sequence[str]) -> None:
        """Work out what is not there yet, what it stands on first."""
        for name in names:
            if name not in self._done:
                self._prepare(_STEPS[name])
                if name in _VIEWS:
                    self._database.view(name, question_text(name, self._values))
                else:
                    self._database.keep(name, list(self._texts(name)))
                self._done.add(name)

    def _texts(self, name: str) -> Iterator[str]:
        """What gives the rows of a table, part by part."""
        if name not in _SLICED:
            yield question_text(name, self._values)
            return
        _, sizes = self._database.rows(question_text("sizes", {}))
        for cut in slices(((nest, batch, int(count)) for nest, batch, count in sizes), self._database.at_once):
            yield question_text(name, self._values | cut.values())


#: Fault of `sql/faults.sql` -> what it means, and the cure.
_FAULTS = {
    "twice": (
        "the record {serial}.{attempt} of batch {batch} is there more than once ({records} such records); remove one "
        "of the gathered files that hold it"
    ),
    "old": "batch {batch} was gathered by an earlier batchtest; gather it again, or move its file away",
}


@contextmanager
def open_engine(sources: Sources, selection: q.Selection, engine: str = DUCKDB) -> Iterator[Engine]:
    """An engine on these files, for as long as the block lasts.

    Parameters
    ----------
    engine : "duckdb", "local-spark", or the address of a cluster, such as "spark://host:7077".

    Raises
    ------
    SetupError : no such engine, or it is not installed; the selection names what is not there; see `Engine.check`.
    RecordError : a gathered file cannot be read.
    """
    _check(selection)
    with _database(sources, engine) as database:
        found = Engine(database, selection)
        found.check()
        yield found


@contextmanager
def _database(sources: Sources, engine: str) -> Iterator[Database]:
    if engine == DUCKDB:
        with Duck(sources) as duck:
            yield duck
    elif engine == LOCAL_SPARK or engine.startswith(SPARK):
        from batchtest.review.engine.spark import Spark

        with Spark(sources, "local[*]" if engine == LOCAL_SPARK else engine) as spark:
            yield spark
    else:
        hint = nearest(engine, [DUCKDB, LOCAL_SPARK])
        raise SetupError(f"no engine {engine!r}; {hint}; a cluster is named by its address, {SPARK}HOST:PORT")


def _check(selection: q.Selection) -> None:
    known = (*_OF_ATTEMPTS, *_OF_READINGS)
    for name in selection.where:
        if name not in known:
            raise SetupError(f"nothing can be chosen by {name!r}; {nearest(name, known)}")


def _selected(selection: q.Selection) -> dict[str, Value]:
    values: dict[str, Value] = {
        "kind": selection.kind,
        "golden": selection.golden,
        "latest": selection.latest,
        "listed": selection.listed,
    }
    for name in (*_OF_ATTEMPTS, *_OF_READINGS):
        values |= _chosen(name, selection.where.get(name))
    return values


def _chosen(name: str, wanted: Sequence[str] | None) -> dict[str, Value]:
    return {f"any_{name}": wanted is None, name: tuple(wanted or ())}


def _table(name: str) -> str:
    return "readings" if name in _OF_READINGS else "attempts"


def _plain(value: Any) -> Any:
    """A whole number as an int, whatever an engine makes of one that is too long for 64 bits."""
    return int(value) if isinstance(value, Decimal) else value
