"""What to measure next by hand: where a reading should tell most, for the minutes and the risk that it takes."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from batchtest.diagnosis.likelihood import Fit
from batchtest.diagnosis.model import FaultTable, Floats, Hypothesis, Suggestion
from batchtest.diagnosis.observed import BY_HAND, BY_HAND_LEAST, Observed
from batchtest.diagnosis.readings import COLD

Places = NDArray[np.intp]

#: Minutes to reach a place with the board on the table, by how it is reached; and those to power it again (common
#: practice, no source).
MINUTES = {"testpoint": 0.5, "connector": 0.5, "internal": 1.0}
POWER_MINUTES = 2.0
#: How much more a minute under power counts: a slip can cost the board; a leg of a part is easier to slip from.
RISK, RISK_ON_LEGS = 2.0, 3.0
#: A place that tells less than this is not worth going to, bits.
LEAST_BITS = 0.05
#: Suggestions at most.
SUGGESTED = 5

#: Five points of a normal distribution and their weights (Gauss and Hermite's, Abramowitz and Stegun, table 25.10, made
#: for the standard normal: points times sqrt 2, weights over sqrt pi).
_POINTS, _WEIGHTS = np.polynomial.hermite.hermgauss(5)
_POINTS, _WEIGHTS = _POINTS * np.sqrt(2), _WEIGHTS / np.sqrt(np.pi)


def suggestions(
    table: FaultTable, observed: Observed, rows: Places, chances: Floats, labels: Sequence[int], fit: Fit
) -> tuple[Suggestion, ...]:
    """Places worth most first; none where nothing tells enough.

    Parameters
    ----------
    rows : hypotheses that are left, `chances` their probabilities, `labels` what each comes down to: telling two of one
        label apart is worth nothing.
    fit : of those rows, to what was read.
    """
    places = _open_places(table, observed)
    if not places.size or len(set(labels)) < 2:
        return ()
    slopes = table.spread[np.ix_(rows, places)].astype(float)
    mean, rough = table.mean[np.ix_(rows, places)], np.nan_to_num(table.rough[np.ix_(rows, places)])
    expected, sigma = fit.predicted(np.nan_to_num(mean), slopes, rough)
    least = np.array([BY_HAND_LEAST[table.columns[place].unit] for place in places])
    sigma = np.sqrt(sigma**2 + (BY_HAND * expected) ** 2 + least**2)
    over = np.where(np.isnan(mean), 1.0, np.clip(np.nan_to_num(table.over[np.ix_(rows, places)], nan=0.5), 0.0, 1.0))
    bits = _bits(expected, sigma, over, chances / chances.sum(), np.array(labels))
    found = [
        _suggestion(table, place, bits[index], table.hypotheses, rows, labels, expected[:, index], over[:, index])
        for index, place in enumerate(places)
        if bits[index] >= LEAST_BITS
    ]
    best = {(one.spot.name, one.unit): one for one in sorted(found, key=lambda one: one.worth)}
    return tuple(sorted(best.values(), key=lambda one: -one.worth)[:SUGGESTED])


def _open_places(table: FaultTable, observed: Observed) -> Places:
    """Columns that a person may still take: cold ones, and powered ones in the last state that held."""
    free = [
        index
        for index, column in enumerate(table.columns)
        if column.probe
        and column.state in (COLD, observed.held)
        and np.isnan(observed.values[index])
        and not observed.over[index]
    ]
    return np.array(free, np.intp)


def _bits(expected: Floats, sigma: Floats, over: Floats, chances: Floats, labels: Places) -> Floats:
    """(places,) expected drop of the entropy of the label, bits.

    Every hypothesis is taken at five points of what it would read; what the label's probability is after each of them
    against before, in logarithms, is averaged (the mutual information of reading and label).
    """
    member = (labels[:, None] == np.unique(labels)[None]).astype(float)
    before = chances @ member
    points = expected[:, None] + sigma[:, None] * _POINTS[None, :, None]
    away = (points[:, :, None] - expected[None, None]) / sigma[None, None]
    density = np.exp(-0.5 * away**2) / sigma[None, None] * (1 - over)[None, None]
    weighed = density * chances[None, None, :, None]
    total = np.maximum(weighed.sum(axis=2), 1e-300)
    own_label = member @ member.T
    mine = np.einsum("hjkp,hk->hjp", weighed, own_label) / total
    gained = np.log2(np.maximum(mine, 1e-12) / (before @ member.T)[:, None, None])
    by_value = np.einsum("h,hp,j,hjp->p", chances, 1 - over, _WEIGHTS, gained)
    over_all = np.maximum(chances @ over, 1e-300)
    share = np.maximum(own_label @ (chances[:, None] * over) / over_all, 1e-12)
    by_range = (chances[:, None] * over * np.log2(share / (before @ member.T)[:, None])).sum(axis=0)
    found: Floats = np.maximum(by_value + by_range, 0.0)
    return found


def _suggestion(
    table: FaultTable,
    place: int,
    bits: float,
    hypotheses: Sequence[Hypothesis],
    rows: Places,
    labels: Sequence[int],
    expected: Floats,
    over: Floats,
) -> Suggestion:
    column = table.columns[place]
    spot, powered = table.spots[column.point], column.state != COLD
    unit: Literal["V", "ohm"] = "V" if powered else "ohm"
    firsts = {label: index for index, label in reversed(list(enumerate(labels)))}
    outcomes = {
        hypotheses[int(rows[index])].name: float(expected[index])
        if powered or over[index] <= 0.5
        else _on_another_range(table, int(rows[index]), column.point)
        for index in sorted(firsts.values())
    }
    risk = (RISK if spot.reach != "internal" else RISK_ON_LEGS) if powered else 1.0
    return Suggestion(
        spot=spot,
        unit=unit,
        state=column.state if powered else "",
        minutes=MINUTES.get(spot.reach, 1.0) + POWER_MINUTES * powered,
        risk=risk,
        bits=float(bits),
        outcomes=outcomes,
    )


def _on_another_range(table: FaultTable, row: int, point: str) -> float | None:
    """What the meter shows unpowered on the first range that holds it; `None` where none does."""
    for place, column in enumerate(table.columns):
        if (column.probe, column.point, column.state) == (True, point, COLD) and table.over[row, place] <= 0.5:
            return float(table.mean[row, place])
    return None
