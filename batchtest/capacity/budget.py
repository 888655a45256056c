"""What is to hang on an outlet: which things work, alone and together, on a cold source and on a hot one."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from batchtest.capacity.curve import Curve
from batchtest.capacity.model import Band, BudgetRow, Demand, Served
from batchtest.capacity.wire import drop_V
from batchtest.nouns import Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class State:
    """A source in one state: its curve, the ambient that its leads have, and what must not be passed, A."""

    curve: Curve
    at_C: float
    carries_A: float


def rows(demands: Sequence[Demand], *, cold: State, hot: State) -> tuple[BudgetRow, ...]:
    """One row a demand, in their order."""
    return tuple(
        BudgetRow(
            demand=demand,
            cold_alone=_served(demand, demand.peak_A, demand.peak_A, cold),
            hot_alone=_served(demand, demand.peak_A, demand.peak_A, hot),
            cold_together=_together(demand, demands, cold),
            hot_together=_together(demand, demands, hot),
        )
        for demand in demands
    )


def _together(demand: Demand, demands: Sequence[Demand], state: State) -> Served:
    """All run, and one at a time is at its peak: the moment that leaves this demand the least.

    Two peaks at once are not assumed.
    """
    running_A = math.fsum(each.current_A for each in demands)
    moments = (
        _served(demand, each.peak_A if each is demand else demand.current_A, _with_peak(running_A, each), state)
        for each in demands
    )
    return min(moments, key=lambda moment: (moment.verdict is not Verdict.FAIL, moment.voltage.lower))


def _with_peak(running_A: float, at_peak: Demand) -> float:
    return running_A + at_peak.peak_A - at_peak.current_A


def _served(demand: Demand, own_A: float, outlet_A: float, state: State) -> Served:
    """The demand's own voltage at the far end of its lead, while `own_A` of `outlet_A` flow to it."""
    outlet, lost_V = state.curve.at(outlet_A), drop_V(demand.lead, own_A, state.at_C)
    voltage = Band(value=outlet.value - lost_V, lower=outlet.lower - lost_V, upper=outlet.upper - lost_V)
    measured = outlet_A <= state.curve.last_A
    return Served(
        demand=demand,
        outlet_A=outlet_A,
        voltage=voltage,
        margin_V=voltage.value - demand.minimum_V,
        measured=measured,
        verdict=_verdict(voltage, demand.minimum_V, measured=measured, carried=outlet_A <= state.carries_A),
    )


def _verdict(voltage: Band, minimum_V: float, *, measured: bool, carried: bool) -> Verdict:
    if voltage.upper < minimum_V or not carried:
        return Verdict.FAIL
    return Verdict.PASS if measured and voltage.lower >= minimum_V else Verdict.DOUBTFUL
