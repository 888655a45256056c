"""Whoever answers the questions of a review, and how its rows are told apart and added up."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Iterable, Sequence
from dataclasses import fields, replace
from typing import Any, Protocol, TypeVar

from batchtest.review.answers.model import Dimension
from batchtest.review.questions import Bin, Individual, Measured, Outlier

Row = TypeVar("Row")
Kind = TypeVar("Kind")
#: Rows keep values in whole steps of a unit; so many make one.
MICRO = 1_000_000
#: Dimension -> the field of a row that is asked for.
FIELDS = {
    Dimension.BATCH: "batch",
    Dimension.RAIL: "point",
    Dimension.LOAD_POINT: "load_point",
    Dimension.FIXTURE: "fixture",
    Dimension.CABLE: "cable",
    Dimension.STATION: "station",
    Dimension.OPERATOR: "operator",
    Dimension.MONTH: "month",
}
#: What makes one measurement of one board type: its name, unit and limits.
Key = tuple[str, str, str, float | None, float | None]


class Asked(Protocol):
    """An engine with records behind it."""

    def ask(self, question: type[Row], *, by: Sequence[str] = (), names: Sequence[str] | None = None) -> Sequence[Row]:
        """All rows of a question, counted by board type and by these fields, of these measurements or of all."""
        ...


class Remembered:
    """Asks once for all measurements, and answers from that where only some of them are wanted."""

    def __init__(self, asked: Asked) -> None:
        self._asked = asked
        self._known: dict[tuple[type, tuple[str, ...]], Sequence[Any]] = {}

    def ask(self, question: type[Row], *, by: Sequence[str] = (), names: Sequence[str] | None = None) -> Sequence[Row]:
        """See `Asked`."""
        whole: Sequence[Any] | None = self._known.get((question, tuple(by)))
        if whole is not None:
            return whole if names is None else [row for row in whole if row.name in names]
        found = self._asked.ask(question, by=by, names=names)
        if names is None:
            self._known[question, tuple(by)] = found
        return found


def key_of(row: Measured | Bin | Individual | Outlier) -> Key:
    """The measurement that a row is of; with other limits or another unit it is another one."""
    return row.board, row.name, row.unit, row.lower, row.upper


def by_kind(rows: Iterable[Row], kind: Callable[[Row], Kind]) -> dict[Kind, list[Row]]:
    """Rows by whatever tells them apart, in their order; nothing where there is none."""
    found: dict[Kind, list[Row]] = defaultdict(list)
    for row in rows:
        found[kind(row)].append(row)
    return found


#: What of two rows is not added up: what they are of, and the extremes.
_SAME = {"load_point", "lower", "upper", "origin_micro"}


def together(rows: Iterable[Measured]) -> Measured:
    """Rows of one measurement as one.

    Parameters
    ----------
    rows : one or more with the same key; sums are about the same origin then.
    """
    whole, *rest = rows
    for row in rest:
        if key_of(row) != key_of(whole):
            raise ValueError(f"{key_of(row)} and {key_of(whole)} are two measurements, which are not pooled")
        added = {
            each.name: getattr(whole, each.name) + getattr(row, each.name)
            for each in fields(Measured)
            if each.type == "int" and each.name not in _SAME
        }
        whole = replace(
            whole,
            **added,
            least_micro=_extreme(min, whole.least_micro, row.least_micro),
            most_micro=_extreme(max, whole.most_micro, row.most_micro),
            uncertainty_micro=_extreme(max, whole.uncertainty_micro, row.uncertainty_micro),
        )
    return whole


def _extreme(which: Callable[[list[int]], int], *values: int | None) -> int | None:
    known = [value for value in values if value is not None]
    return which(known) if known else None
