"""One board in the nest: its own parts, and where it settles in any state that the bench puts it into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import BenchModel, Solution
from batchtest.errors import NoOperatingPoint

Floats = NDArray[np.float64]

#: A supply that gives less than this share of its limit is free of it: another limit changes nothing.
_FREE = 0.999


@dataclass(frozen=True, slots=True)
class Operating:
    """Where a board settles in one state: voltage of each point (V), current of supply and load channels (A)."""

    points: Mapping[str, float]
    supply_A: float
    loads: Mapping[int, float]
    unsolved: str = ""


@dataclass(frozen=True, slots=True)
class State:
    """What drives a board: the supply's voltage (V) and limit (A) with what each load channel draws (A); or the ohms
    source of the meter at a point, with its current (A) and compliance (V)."""

    volts: float
    amperes: float
    point: str = ""
    loads: tuple[tuple[int, float], ...] = ()

    def solve(self, model: BenchModel, values: Floats, start: Solution | None = None) -> Solution:
        """Operating point of a circuit in this state; raises NoOperatingPoint."""
        if self.point:
            return model.cold(values, self.point, self.amperes, self.volts, start=start)
        return model.powered(values, self.volts, self.amperes, dict(self.loads), start=start)


@dataclass(slots=True)
class Nominal:
    """A good board with nominal parts: where it settles is where the solver starts for every other board.

    The start follows from the state alone, so that a board's operating points do not depend on what came before.
    """

    model: BenchModel
    values: Floats
    _solutions: dict[State, Solution | None] = field(default_factory=dict)

    def start(self, state: State) -> Solution | None:
        """Operating point of the nominal board; `None` where it has none."""
        if state not in self._solutions:
            try:
                self._solutions[state] = state.solve(self.model, self.values)
            except NoOperatingPoint:
                self._solutions[state] = None
        return self._solutions[state]


@dataclass(slots=True)
class Board:
    """One board with its own parts. Operating points are solved once and kept."""

    serial: str
    fault: str | None
    model: BenchModel
    nominal: Nominal
    values: Floats
    terminals: Mapping[str, tuple[str, str]]
    settle_s: Mapping[str, float]
    bleed_s: Mapping[str, float]
    charge_V: Mapping[str, float]
    _powered: dict[State, Operating] = field(default_factory=dict)
    _free: dict[tuple[float, tuple[tuple[int, float], ...]], Operating] = field(default_factory=dict)
    _cold: dict[State, float] = field(default_factory=dict)

    def powered(self, volts: float, limit_A: float, loads: Mapping[int, float]) -> Operating:
        """Where the board settles with the supply at `volts` (V) and `limit_A`, load channels drawing `loads` (A)."""
        drawn = tuple(sorted(loads.items()))
        free = self._free.get((volts, drawn))
        if free is not None and free.supply_A < _FREE * limit_A:
            return free
        state = State(volts, limit_A, loads=drawn)
        if state not in self._powered:
            found = self._powered[state] = self._solve(state)
            if found.supply_A < _FREE * limit_A:
                self._free[volts, drawn] = found
        return self._powered[state]

    def cold(self, point: str, current_A: float, compliance_V: float) -> float:
        """Voltage at a point with only the meter's test current on, V; its compliance where the current gives up."""
        state = State(compliance_V, current_A, point)
        if state not in self._cold:
            try:
                solution = state.solve(self.model, self.values, self.nominal.start(state))
                self._cold[state] = float(solution.between(*self.terminals[point])[0])
            except NoOperatingPoint:
                self._cold[state] = compliance_V
        return self._cold[state]

    def _solve(self, state: State) -> Operating:
        channels = [channel for channel, _ in state.loads]
        try:
            solution = state.solve(self.model, self.values, self.nominal.start(state))
        except NoOperatingPoint as error:
            dead = dict.fromkeys(self.terminals, 0.0)
            return Operating(dead, state.amperes, dict.fromkeys(channels, 0.0), unsolved=str(error))
        return Operating(
            {name: float(solution.between(*ends)[0]) for name, ends in self.terminals.items()},
            float(solution.source_A("supply")[0]),
            {channel: -float(solution.source_A(f"load.{channel}")[0]) for channel in channels},
        )
