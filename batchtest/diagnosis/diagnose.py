"""From a record's lines to likely causes, and to what to measure next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.diagnosis.groups import bench_sigma, distances, together
from batchtest.diagnosis.likelihood import Fit, Likelihood, Scores
from batchtest.diagnosis.model import (
    Advice,
    Cause,
    Defect,
    Deviation,
    Diagnosis,
    FaultTable,
    Floats,
    Kind,
    Probed,
    Suggestion,
)
from batchtest.diagnosis.next import suggestions
from batchtest.diagnosis.observed import Observed, observed_of
from batchtest.diagnosis.priors import Priors
from batchtest.nouns import Line

Places = NDArray[np.intp]

#: From this probability on a cause is named with confidence.
CONFIDENT = 0.8
#: Causes less probable than this are not told.
LEAST = 0.003
#: Hypotheses that are held against each other, likeliest first.
HELD = 24
#: Hypotheses of which one makes all that was seen likelier than the other by e to this are told apart, events included.
TOLD_APART = 6.0
#: Readings that are told for a cause, and how far off a good board's they must be, in standard deviations.
TOLD, ODD = 4, 3.0

_BENCH = (Kind.FIXTURE, Kind.CABLE, Kind.CONTACT, Kind.INSTRUMENT)


def diagnose(table: FaultTable, lines: Sequence[Line], priors: Priors, probed: Sequence[Probed] = ()) -> Diagnosis:
    """What is likely wrong with a board.

    Parameters
    ----------
    lines : of its record, all of them.
    probed : what a person has measured since.

    Raises
    ------
    SetupError : a probe is at a place that the table does not have, or under power on a board that never was.
    """
    observed = observed_of(table, lines, probed)
    likelihood = Likelihood(table, observed)
    used = tuple(table.columns[place].name for place in _used(likelihood, observed))
    if not observed.bad:
        return Diagnosis(causes=(), unknown=0.0, advice="nothing", next=(), used=used, table=table.key)
    scores = likelihood.scores()
    chances, unknown = _posterior(table, scores, priors)
    held = _Held.of(likelihood, chances, scores.hypothesis)
    causes = tuple(_cause(table, observed, likelihood, chances, rows) for rows in held.causes(table, observed))
    told = tuple(sorted((one for one in causes if one.probability >= LEAST), key=lambda one: -one.probability))
    further = held.further(table, observed)
    advice = _advice(told, unknown, further)
    return Diagnosis(
        causes=told,
        unknown=unknown,
        advice=advice,
        next=further if advice in ("measure", "unknown") else (),
        used=used,
        table=table.key,
    )


def _used(likelihood: Likelihood, observed: Observed) -> list[int]:
    return sorted({*likelihood.places.tolist(), *np.flatnonzero(observed.over).tolist()})


def _posterior(table: FaultTable, scores: Scores, priors: Priors) -> tuple[Floats, float]:
    """(H,) probability of each hypothesis, and that of something that the table does not have."""
    weights = priors.of(table.hypotheses)
    with np.errstate(divide="ignore"):
        log_own = np.log(weights) + scores.hypothesis
        log_beside = np.log(weights / weights.sum()) + scores.beside + np.log(priors.unknown)
    top = max(log_own.max(), log_beside.max())
    own, beside = np.exp(log_own - top), np.exp(log_beside - top)
    total = own.sum() + beside.sum()
    return own / total, float(beside.sum() / total)


@dataclass(frozen=True, slots=True)
class _Held:
    """The likeliest hypotheses, held against each other."""

    rows: Places
    chances: Floats
    scores: Floats
    fit: Fit
    places: Places

    @classmethod
    def of(cls, likelihood: Likelihood, chances: Floats, scores: Floats) -> _Held:
        rows = np.argsort(-chances, kind="stable")[:HELD]
        rows = rows[chances[rows] > LEAST / HELD]
        return cls(rows, chances[rows], scores[rows], likelihood.fit(rows), likelihood.places)

    def causes(self, table: FaultTable, observed: Observed) -> list[list[int]]:
        """Hypotheses in causes: those of the same parts, and those that what was read cannot tell apart."""
        by_part: dict[tuple[Kind, tuple[str, ...]], list[int]] = {}
        for row in self.rows:
            one = table.hypotheses[row]
            by_part.setdefault((one.kind, one.parts), []).append(int(row))
        firsts = [members[0] for members in by_part.values()]
        members = {rows[0]: rows for rows in by_part.values()}
        seen = np.flatnonzero(observed.over | np.isin(np.arange(len(table.columns)), self.places))
        score = dict(zip(self.rows.tolist(), self.scores, strict=True))
        told = np.array([[abs(score[one] - score[other]) > TOLD_APART for other in firsts] for one in firsts])
        groups = together(firsts, np.where(told, np.inf, _between(table, firsts, seen))) if firsts else []
        return [[row for first in group for row in members[first]] for group in groups]

    def further(self, table: FaultTable, observed: Observed) -> tuple[Suggestion, ...]:
        """What would tell the parts apart."""
        labels: dict[tuple[Kind, tuple[str, ...]], int] = {}
        numbers = [
            labels.setdefault((table.hypotheses[row].kind, table.hypotheses[row].parts), len(labels))
            for row in self.rows
        ]
        if not len(self.rows):
            return ()
        return suggestions(table, observed, self.rows, self.chances, numbers, self.fit)


def _between(table: FaultTable, rows: Sequence[int], places: Places) -> Floats:
    """(rows, rows) how far apart hypotheses are in what was read."""
    found = np.zeros((len(rows), len(rows)))
    for index, row in enumerate(rows[:-1]):
        bench = bench_sigma(table, places, row)
        found[index, index + 1 :] = distances(table, row, rows[index + 1 :], places, bench)
    return found


def _cause(
    table: FaultTable, observed: Observed, likelihood: Likelihood, chances: Floats, rows: Sequence[int]
) -> Cause:
    ordered = sorted(rows, key=lambda row: -chances[row])
    shares = tuple(float(chances[row]) for row in ordered)
    return Cause(
        hypotheses=tuple(table.hypotheses[row] for row in ordered),
        probability=sum(shares),
        shares=shares,
        because=_because(table, observed, likelihood, ordered[0]),
    )


def _because(table: FaultTable, observed: Observed, likelihood: Likelihood, row: int) -> tuple[Deviation, ...]:
    """The readings furthest from a good board's that the cause explains better than a good board."""
    values = np.where(np.isnan(observed.values), observed.beyond, observed.values)
    found = []
    for place in np.flatnonzero(observed.over | ~np.isnan(values)).tolist():
        value = None if observed.over[place] else float(values[place])
        usual, with_it = _shown(table, 0, place), _shown(table, row, place)
        sigmas = np.inf if (value is None) != (usual is None) else float(likelihood.sigmas[place])
        if (value is None and usual is None) or abs(sigmas) < ODD or not _nearer(value, with_it, usual):
            continue
        column = table.columns[place]
        found.append(
            Deviation(
                name=column.name,
                point=column.point,
                unit=column.unit,
                value=value,
                expected=usual,
                sigmas=sigmas,
                explained=with_it,
            )
        )
    return tuple(sorted(found, key=lambda one: -abs(one.sigmas))[:TOLD])


def _shown(table: FaultTable, row: int, place: int) -> float | None:
    """What most boards of a hypothesis read; `None` is over range."""
    mean = float(table.mean[row, place])
    return None if np.isnan(mean) or table.over[row, place] > 0.5 else mean


def _nearer(value: float | None, one: float | None, other: float | None) -> bool:
    """Whether a value lies nearer to one than to another."""
    if value is None or one is None or other is None:
        return (value is None) == (one is None)
    return abs(value - one) < abs(value - other)


def _advice(causes: Sequence[Cause], unknown: float, further: Sequence[Suggestion]) -> Advice:
    """What to do now."""
    first = causes[0] if causes else None
    if first is None or unknown >= max(first.probability, 0.5):
        return "unknown"
    if first.probability < CONFIDENT or (further and len({one.parts for one in first.hypotheses}) > 1):
        return "measure" if further else "no further"
    if all(one.kind in _BENCH for one in first.hypotheses):
        return "bench"
    if len({one.parts for one in first.hypotheses}) > 1:
        return "no further"
    return "look" if first.hypotheses[0].defect is Defect.BRIDGE else "change"
