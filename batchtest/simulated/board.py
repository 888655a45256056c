"""One board in the nest: its own parts, and where it settles in any state that the bench puts it into."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
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


#: A reading with the meter's ohms source: its point, test current (A) and compliance (V).
ColdState = tuple[str, float, float]


@dataclass(frozen=True, slots=True)
class State:
    """What feeds and loads a board: the supply's voltage (V) and limit (A), what each load channel draws (A)."""

    volts: float
    amperes: float
    loads: tuple[tuple[int, float], ...] = ()

    def solve(self, model: BenchModel, values: Floats, start: Solution | None = None) -> Solution:
        """Operating point of a circuit in this state; raises NoOperatingPoint."""
        return model.powered(values, self.volts, self.amperes, dict(self.loads), start=start)


@dataclass(slots=True)
class Nominal:
    """A good board with nominal parts: where it settles is where the solver starts for every other board.

    The start follows from the state alone, so that a board's operating points do not depend on what came before.
    `cold` are the readings that were asked of any board so far, in the order in which they first were.
    """

    model: BenchModel
    values: Floats
    cold: dict[ColdState, None] = field(default_factory=dict)
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
    _cold: dict[ColdState, float] = field(default_factory=dict)

    def powered(self, volts: float, limit_A: float, loads: Mapping[int, float]) -> Operating:
        """Where the board settles with the supply at `volts` (V) and `limit_A`, load channels drawing `loads` (A)."""
        drawn = tuple(sorted(loads.items()))
        free = self._free.get((volts, drawn))
        if free is not None and free.supply_A < _FREE * limit_A:
            return free
        state = State(volts, limit_A, drawn)
        if state not in self._powered:
            found = self._powered[state] = self._solve(state)
            if found.supply_A < _FREE * limit_A:
                self._free[volts, drawn] = found
        return self._powered[state]

    def cold(self, point: str, current_A: float, compliance_V: float) -> float:
        """Voltage at a point with only the meter's test current on, V; its compliance where the current gives up."""
        state = (point, current_A, compliance_V)
        self.nominal.cold[state] = None
        if state not in self._cold:
            self._solve_cold([asked for asked in self.nominal.cold if asked not in self._cold])
        return self._cold[state]

    def _solve_cold(self, states: Sequence[ColdState]) -> None:
        """Solve readings together, which costs little more than one; one by one where one has no operating point."""
        try:
            volts = self.model.cold_all(self.values, states)[:, 0]
        except NoOperatingPoint:
            if len(states) == 1:
                self._cold[states[0]] = states[0][-1]
            else:
                for state in states:
                    self._solve_cold([state])
        else:
            self._cold |= zip(states, map(float, volts), strict=True)

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
