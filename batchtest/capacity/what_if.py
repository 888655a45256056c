"""The same outlet with the limiter that it has, and with another in its place: side by side."""

from __future__ import annotations

import math
from dataclasses import dataclass

from batchtest.capacity.budget import State, rows
from batchtest.capacity.curve import Curve
from batchtest.capacity.let_through import into_short, lowest_ohm
from batchtest.capacity.model import Alternative, Band, Ceiling, Demand, FuseData, Limiter, Usable
from batchtest.capacity.resistor import highest_ohm
from batchtest.capacity.usable import carries_A, floor_V, usable

_NOTHING = Band(value=0.0, lower=0.0, upper=0.0)
#: How much a limiter's resistance may rise with the ambient, 1/K: film and wire-wound resistors, and polymer fuses well
#: below their trip (common practice, no source).
RESISTOR_PER_K, FUSE_PER_K = 250e-6, 0.005


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """An outlet as it was measured, and what is known of it.

    Parameters
    ----------
    cold, hot : its voltage over the current, by short pulses and at thermal rest.
    open_V, ohm : open-circuit voltage and cold source resistance with its interval.
    limiter : what was in series.
    cold_C, hot_C : ambient of the measurement, and the warmest that it gets.
    less_V : by how much lower than measured the host's voltage may be on the worst day: low mains, a warm regulator.
    margin : share of what could be carried that is promised.
    gives_up_A : the most that the host delivers into a short, where that is known.
    """

    cold: Curve
    hot: Curve
    open_V: float
    ohm: Band
    limiter: Limiter
    ratings: tuple[Ceiling, ...]
    demands: tuple[Demand, ...]
    cold_C: float
    hot_C: float
    less_V: float
    margin: float
    gives_up_A: float = math.inf


def as_fitted(measured: Measured, name: str) -> Alternative:
    """The outlet with the limiter that it was measured with."""
    return _assessed(measured, name, measured.limiter, _NOTHING, measured.ohm.lower)


def with_other(measured: Measured, name: str, limiter: Limiter) -> Alternative:
    """The outlet with another limiter, anywhere between its lowest and highest resistance.

    The one that was fitted may have been anywhere between its own, so the band is that of both.
    """
    old, new = _ohms(measured.limiter), _ohms(limiter)
    added = Band(value=new.value - old.value, lower=new.lower - old.upper, upper=new.upper - old.lower)
    return _assessed(measured, name, limiter, added, max(0.0, measured.ohm.value - old.value) + lowest_ohm(limiter))


def _assessed(measured: Measured, name: str, limiter: Limiter, added: Band, short_ohm: float) -> Alternative:
    cold = measured.cold.changed(ohm=added)
    rise_ohm = _warmer_ohm(limiter, measured.hot_C - measured.cold_C)
    hot = measured.hot.changed(
        ohm=Band(value=added.value, lower=added.lower, upper=added.upper + rise_ohm), less_V=measured.less_V
    )

    def answer(curve: Curve, at_C: float) -> Usable:
        return usable(
            curve,
            limiter,
            measured.ratings,
            floor_V=floor_V(measured.demands, at_C),
            at_C=at_C,
            margin=measured.margin,
        )

    at_cold, at_hot = answer(cold, measured.cold_C), answer(hot, measured.hot_C)
    return Alternative(
        name=name,
        limiter=limiter,
        usable=at_hot,
        budget=rows(
            measured.demands,
            cold=State(curve=cold, at_C=measured.cold_C, carries_A=carries_A(at_cold)),
            hot=State(curve=hot, at_C=measured.hot_C, carries_A=carries_A(at_hot)),
        ),
        let_through=into_short(
            limiter,
            current_A=min(measured.open_V / short_ohm, measured.gives_up_A),
            least_A=_least_into_short_A(measured, limiter),
            open_V=measured.open_V,
            at_C=measured.cold_C,
        ),
    )


def _least_into_short_A(measured: Measured, limiter: Limiter) -> float:
    """What flows into a short at the least, A: the limiter at its highest, and a source that sags as it gives more.

    A source that gives up holds its voltage until it does, so that it lies above the straight line from its open
    circuit to what it gives into a short.
    """
    host_ohm = max(measured.ohm.upper - _ohms(measured.limiter).lower, measured.open_V / measured.gives_up_A)
    return measured.open_V / (host_ohm + _ohms(limiter).upper)


def _ohms(limiter: Limiter) -> Band:
    """The resistances that a limiter may have, cold, and the middle of them."""
    upper = limiter.r1_max_ohm if isinstance(limiter, FuseData) else highest_ohm(limiter)
    lower = lowest_ohm(limiter)
    return Band(value=(lower + upper) / 2, lower=lower, upper=upper)


def _warmer_ohm(limiter: Limiter, rise_K: float) -> float:
    """By how much a limiter's resistance may rise with an ambient so much warmer, ohm; at rest it heats itself too."""
    per_kelvin = FUSE_PER_K if isinstance(limiter, FuseData) else RESISTOR_PER_K
    return _ohms(limiter).upper * per_kelvin * max(0.0, rise_K)
