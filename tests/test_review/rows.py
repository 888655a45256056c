"""Rows as an engine gives them back, made from plain values, and whoever answers questions with them."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, fields
from typing import Any

from batchtest.review.questions import (
    Bin,
    Boards,
    Causes,
    Doubts,
    Golden,
    Individual,
    Measured,
    Outlier,
    Spots,
    Stops,
    Totals,
)

EMPTY = {"str": "", "int": 0, "bool": False}
HOUR_US = 3_600_000_000


def row(kind, **known):
    """A row with what is said of it; every other count is 0, every other text empty, every other `None`."""
    return kind(**{each.name: EMPTY.get(str(each.type)) for each in fields(kind)} | {"board": "vent"} | known)


def totals(**known):
    """What was looked at."""
    return Totals(**{each.name: EMPTY.get(str(each.type)) for each in fields(Totals)} | known)


def boards(passed, failed=0, doubtful=0, **known):
    """Boards of one group that were tested once."""
    whole = passed + failed + doubtful
    found = {"boards": whole, "passed": passed, "failed": failed, "doubtful": doubtful, "passed_last": passed}
    return row(Boards, **found | known)


def micro(value):
    """A value in whole millionths."""
    return round(value * 1e6)


def measured(values, lower=4.75, upper=5.25, **known):
    """A measurement of so many boards, judged by its limits without a guard band."""
    origin = 0 if lower is None or upper is None else round((lower + upper) * 5e5)
    off = [micro(value) - origin for value in values]
    failed = sum((lower is not None and value < lower) or (upper is not None and value > upper) for value in values)
    found = {
        "name": "logic @ load point 1", "point": "logic", "phase": "load", "measurand": "voltage", "unit": "V",
        "load_point": 0, "lower": lower, "upper": upper,
        "readings": len(values), "judged": len(values), "passed": len(values) - failed, "failed": failed,
        "values": len(values), "origin_micro": origin, "sum_micro": sum(off),
        "squares_micro": sum(each * each for each in off),
        "least_micro": min(map(micro, values), default=None), "most_micro": max(map(micro, values), default=None),
    }  # fmt: skip
    return row(Measured, **found | known)


def individuals(values, lower=4.75, upper=5.25, **known):
    """The same boards one by one, in order of time."""
    found = {"name": "logic @ load point 1", "unit": "V", "lower": lower, "upper": upper, "verdict": "pass"}
    return [
        row(Individual, **found | {"serial": f"VN-{order:04}", "order": order, "value_micro": micro(value)} | known)
        for order, value in enumerate(values, start=1)
    ]


@dataclass
class Answers:
    """Answers each question from rows: those that are counted by what is asked for have it filled in."""

    rows: Sequence[Any] = field(default_factory=list)
    by: dict[tuple[str, ...], Sequence[Any]] = field(default_factory=dict)
    asked: list[tuple[str, tuple[str, ...]]] = field(default_factory=list)

    def ask(self, question, *, by=(), names=None):
        """Rows of that class, of these measurements."""
        self.asked.append((question.__name__, tuple(by)))
        found: Iterable[Any] = self.by.get(tuple(by), ()) if by else self.rows
        return [each for each in found if type(each) is question and (names is None or each.name in names)]


__all__ = [
    "HOUR_US",
    "Answers",
    "Bin",
    "Causes",
    "Doubts",
    "Golden",
    "Outlier",
    "Spots",
    "Stops",
    "boards",
    "individuals",
    "measured",
    "micro",
    "row",
    "totals",
]
