"""The answer: to how many amperes an outlet is usable at the warmest ambient, and which term says so."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.capacity.curve import Curve
from batchtest.capacity.fuse import hold_A
from batchtest.capacity.model import Ceiling, Demand, FuseData, Limiter, Usable
from batchtest.capacity.resistor import largest_A
from batchtest.capacity.wire import drop_V
from batchtest.quantities import show

#: Terms that are not somebody's rating, in the words of the sentence: "limited by ...".
VOLTAGE = "the voltage that is left"
NOT_MEASURED = "the largest current that was measured"
HOLD = "what the fuse holds at that temperature"
HEAT = "the heat in the series resistor"
OWN_LIMIT = "the source's own limit"
#: Terms that the voltage at the outlet sets; all others are currents that must not be passed whatever the voltage.
BY_VOLTAGE = (VOLTAGE, NOT_MEASURED)


def floor_V(demands: Sequence[Demand], at_C: float) -> float:
    """The voltage that must be left at the outlet: what the neediest demand needs, and its lead takes, at its peak."""
    return max((demand.minimum_V + drop_V(demand.lead, demand.peak_A, at_C) for demand in demands), default=0.0)


def usable(
    hot: Curve, limiter: Limiter, ratings: Sequence[Ceiling], *, floor_V: float, at_C: float, margin: float
) -> Usable:
    """The lowest of all terms at an ambient, times a margin.

    Parameters
    ----------
    hot : the outlet at thermal rest, on the worst day (`Curve.changed`).
    limiter : what is in series with the outlet.
    ratings : connector, wire, upstream fuse, and whatever part of the host is the first past its rating.
    floor_V : the least voltage at the outlet.
    margin : share of what could be carried that is promised, above 0 and at most 1.
    """
    by_voltage_A = hot.largest_A(floor_V)
    ceilings = [
        *ratings,
        Ceiling(term=NOT_MEASURED if by_voltage_A >= hot.last_A else VOLTAGE, current_A=by_voltage_A),
        Ceiling(term=HOLD, current_A=hold_A(limiter, at_C))
        if isinstance(limiter, FuseData)
        else Ceiling(term=HEAT, current_A=largest_A(limiter, at_C)),
    ]
    ordered = tuple(sorted(ceilings, key=lambda ceiling: ceiling.current_A))
    return Usable(current_A=margin * ordered[0].current_A, at_C=at_C, term=ordered[0].term, ceilings=ordered)


def carries_A(usable: Usable) -> float:
    """The lowest term that is not a matter of voltage, A: more must not flow even where the voltage would do."""
    return min(ceiling.current_A for ceiling in usable.ceilings if ceiling.term not in BY_VOLTAGE)


def sentence(usable: Usable) -> str:
    """The answer in one sentence; amperes cut to two digits, never rounded up.

    Never "a 2 A output": a figure holds at an ambient.
    """
    if usable.current_A <= 0:
        return f"Not usable at {usable.at_C:g} C: {usable.term} is already too low without a load."
    return f"Usable to {show(cut_A(usable.current_A), 'A', 2)} at {usable.at_C:g} C, limited by {usable.term}."


def cut_A(amperes: float) -> float:
    """Two significant digits, towards zero; a value that is its own two digits but for rounding stays."""
    power = 10.0 ** (int(f"{amperes:e}".partition("e")[2]) - 1)
    return float(f"{int(amperes / power + 1e-9) * power:.1e}")
