"""What may be wrong with the bench instead of the board: a needle that touches badly, an instrument that reads wrong.

Neither is solved: each is the good board with one more thing that is not known, of which every reading takes its share.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from batchtest.diagnosis.model import Column, Defect, Flags, Floats, Hypothesis, Kind
from batchtest.diagnosis.readings import Plan, PoweredState
from batchtest.diagnosis.solving import Solved
from batchtest.files.fixture import FixtureFile, Point
from batchtest.nouns import Measurand

#: A needle that touches badly adds this much and passes the contact check now and then, ohm (common practice, no
#: source): mean, standard deviation.
POOR_OHM, POOR_SD_OHM = 1.5, 1.5
#: By how much an instrument that reads wrong is off, as a share of the value and of its range: a little, a lot.
WRONG_BY = (0.01, 0.1)
#: What makes up an instrument that can be wrong by itself, by the first word of `Column.instrument`.
_FUNCTIONS = {
    "volts": "meter's volts",
    "ohms": "meter's ohms",
    "diode": "meter's diode test",
    "supply": "supply's current",
}


def bench_faults(good: Solved, plan: Plan, fixture: FixtureFile) -> Iterator[tuple[Hypothesis, Solved]]:
    """Every terminal's needle and every function of an instrument, with what each makes of the readings."""
    columns = plan.columns
    for terminal in terminals(fixture):
        shares = np.array([_per_ohm(column, terminal, fixture, plan.powered) for column in columns])
        shares = _derived(plan, shares)
        yield (
            Hypothesis(
                name=f"poor contact at {terminal}",
                kind=Kind.CONTACT,
                defect=Defect.CONTACT,
                parts=(terminal,),
                mode="poor contact",
            ),
            _shifted(good, POOR_OHM * shares, POOR_SD_OHM * shares, np.zeros(len(columns))),
        )
    for word, name in _FUNCTIONS.items():
        mine = np.array([column.instrument.startswith(word) for column in columns])
        for share in WRONG_BY if mine.any() else ():
            yield (
                Hypothesis(
                    name=f"{name} reads wrong by some {share:.0%}",
                    kind=Kind.INSTRUMENT,
                    defect=Defect.BIAS,
                    parts=(name,),
                    mode="reads wrong",
                ),
                _shifted(good, np.zeros(len(columns)), *_wrong(good, plan, mine, share)),
            )


def terminals(fixture: FixtureFile) -> tuple[str, ...]:
    """Every terminal that a needle touches, once."""
    return tuple(dict.fromkeys(end for point in fixture.points.values() for end in (point.plus, point.minus)))


def _shifted(good: Solved, by: Floats, one: Floats, other: Floats) -> Solved:
    """The good board, moved, with two more things unknown."""
    spread = good.spread.copy()
    spread[:, -2], spread[:, -1] = one, other
    return replace(good, mean=good.mean + by, spread=spread)


def _wrong(good: Solved, plan: Plan, mine: Flags, share: float) -> tuple[Floats, Floats]:
    """By how much readings move with the gain, and with the offset of their range, for one standard deviation.

    A range is taken to be as wide as the largest value that a good board reads on it.
    """
    values = np.abs(np.nan_to_num(good.mean))
    ranges = [column.instrument for column in plan.columns]
    largest = {one: values[[other == one for other in ranges]].max() for one in set(ranges)}
    offsets = np.array([largest[one] for one in ranges])
    return share * np.nan_to_num(good.mean) * mine, _derived(plan, share * offsets * mine)


def _derived(plan: Plan, by: Floats) -> Floats:
    """What a shift of readings makes of the values that are computed from them."""
    found = by.copy()
    for row in plan.derived:
        found[row.column] = sum(weight * by[column] for column, weight in row.weights.items())
    return found


def _per_ohm(column: Column, terminal: str, fixture: FixtureFile, states: Sequence[PoweredState]) -> float:
    """What one ohm at a needle adds to a reading, base unit."""
    point = fixture.points.get(column.point)
    if column.probe or point is None or terminal not in (point.plus, point.minus):
        return 0.0
    if column.measurand is Measurand.RESISTANCE:
        return 1.0
    return -_drawn(column, point, states)


def _drawn(column: Column, point: Point, states: Sequence[PoweredState]) -> float:
    """Current that the load draws through the point's needles, A."""
    return sum(state.loads.get(point.load, 0.0) for state in states if state.name == column.state and point.load)
