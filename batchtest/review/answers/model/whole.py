"""A whole review, and what it was made from. Times are texts after ISO 8601."""

from __future__ import annotations

from dataclasses import dataclass

from batchtest.records.cures import PartFigures
from batchtest.review.answers.model.counted import Comparisons, Doubt, Grouping, Pareto, Stop, Yields
from batchtest.review.answers.model.measured import Chart, MeasurementReview


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardReview:
    """All that is said of one board type. `measurements` come in the order in which they are measured."""

    board: str
    yields: Yields
    groupings: tuple[Grouping, ...]
    pareto: Pareto
    stops: tuple[Stop, ...]
    stop_chart: Chart | None
    """Stopped and refused attempts by batch; `None` below two batches."""
    doubts: tuple[Doubt, ...]
    comparisons: tuple[Comparisons, ...]
    measurements: tuple[MeasurementReview, ...]
    repaired: tuple[PartFigures, ...] = ()
    """What repairs taught of each part by month, the part that cured most boards first."""


@dataclass(frozen=True, slots=True, kw_only=True)
class LeftOut:
    """A record or file that is in no number of this review, and why."""

    name: str
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """What a review looked at.

    Parameters
    ----------
    engine : "duckdb", or the address of a cluster.
    first, last : when the first and the last attempt began; empty where there is none.
    where : conditions that the person set, in words.
    simulated : whether any attempt was made on a simulated bench.
    waived : attempts that were made under a waiver.
    """

    engine: str
    batches: int
    boards: int
    attempts: int
    readings: int
    first: str
    last: str
    simulated: bool
    waived: int
    where: tuple[str, ...]
    left_out: tuple[LeftOut, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Advice:
    """One thing worth acting on, in a sentence, and where in the review it is seen."""

    sentence: str
    see: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Review:
    """A whole review.

    Parameters
    ----------
    worth_acting_on : at most three, the most pressing first.
    notices : what was kept apart and why: changed limits, other units, renamed rails, open batches.
    definitions : what each figure means, by its name.
    """

    made: str
    looked: Looked
    worth_acting_on: tuple[Advice, ...]
    notices: tuple[str, ...]
    boards: tuple[BoardReview, ...]
    definitions: dict[str, str]
