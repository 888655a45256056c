"""What readings cannot tell apart."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batchtest.diagnosis.model import FaultTable, Flags, Floats

Places = NDArray[np.intp]

#: Two faults whose readings lie nearer than this, in standard deviations of all readings together, are not told apart:
#: who guesses between them is wrong one time in six (normal distribution, half of it beyond half the distance).
APART = 2.0
#: Faults that one reading's mean alone puts this far apart need no closer look, in standard deviations.
_PLAINLY = 6.0
#: Where over range is this much likelier with one fault than with the other, it tells them apart.
_OFTEN = 0.5


def distances(table: FaultTable, one: int, others: Sequence[int], places: Places, bench: Floats) -> Floats:
    """How far the readings of faults lie from those of one fault, all together, in standard deviations.

    Parameters
    ----------
    places : (R',) the columns that count.
    bench : (R',) standard uncertainty of instruments and scatter there, base unit.
    """
    rows = np.array(others, np.intp)
    both = np.stack(
        [np.broadcast_to(table.mean[one, places], (len(rows), len(places))), table.mean[np.ix_(rows, places)]]
    )
    known = ~np.isnan(both).any(axis=0)
    told = _told(table, one, rows, places)
    found = np.where(told.any(axis=1), np.inf, 0.0)
    for index in np.flatnonzero(~told.any(axis=1)):
        use = known[index]
        off = (both[1] - both[0])[index, use]
        found[index] = _mahalanobis(table, (one, int(rows[index])), places[use], bench[use], off)
    return found


def _told(table: FaultTable, one: int, rows: Places, places: Places) -> Flags:
    """(rows, R') where the one is over range and the other is not."""
    over = np.nan_to_num(table.over[:, places], nan=0.5)
    told: Flags = np.abs(over[rows] - over[one]) > _OFTEN
    return told


def _mahalanobis(table: FaultTable, pair: tuple[int, int], places: Places, bench: Floats, off: Floats) -> float:
    own = bench**2
    covariance = np.zeros((len(places), len(places)))
    for row in pair:
        slopes = table.spread[row, places].astype(float)
        covariance += 0.5 * slopes @ slopes.T
        own = own + 0.5 * np.nan_to_num(table.rough[row, places]) ** 2
    sigma = np.sqrt(np.diag(covariance) + own)
    plain = float(np.max(np.abs(off) / sigma, initial=0.0))
    if plain > _PLAINLY:
        return plain
    scaled = (covariance + np.diag(own)) / np.outer(sigma, sigma) + 1e-9 * np.eye(len(places))
    white = np.linalg.solve(np.linalg.cholesky(scaled), off / sigma)
    return float(np.linalg.norm(white))


def bench_sigma(table: FaultTable, places: Places, row: int = 0) -> Floats:
    """(R',) standard uncertainty of instrument and scatter at what a fault reads (the good board's, by default)."""
    columns = [table.columns[place] for place in places]
    values = np.nan_to_num(table.mean[row, places])
    gains = np.array([column.gain for column in columns]) * values
    fixed = np.array([np.hypot(column.offset, column.noise) for column in columns])
    found: Floats = np.hypot(gains, fixed)
    return found


def together(labels: Sequence[int], distance: Floats) -> list[list[int]]:
    """Labels in groups: each group begins with the first one left, and takes all that lie near it.

    Parameters
    ----------
    labels : likeliest first.
    distance : (labels, labels) standard deviations.
    """
    left = list(range(len(labels)))
    groups = []
    while left:
        first, *rest = left
        near = [index for index in rest if distance[first, index] < APART]
        groups.append([labels[index] for index in (first, *near)])
        left = [index for index in rest if index not in near]
    return groups
