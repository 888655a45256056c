"""A board plugged into a host by a cable: one circuit with what feeds it, solved for many rows of part values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import (
    Assembly,
    Drive,
    LimitedSource,
    Solution,
    Stress,
    System,
    join,
    ratings_of,
    stresses,
    with_fault,
)
from batchtest.circuits.bench_model import SUPPLY_OHM
from batchtest.errors import NoOperatingPoint, SetupError
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile, Rating
from batchtest.files.fixture import FixtureFile, input_point

Floats = NDArray[np.float64]

#: Kind of element -> the faults that amount to "burned open".
_BURNED = {"NPN": ("open-c", "open-b"), "PNP": ("open-c", "open-b"), "E": ("stuck-low",)}


@dataclass(frozen=True, slots=True)
class Feed:
    """A bench supply in place of a host's own source: the terminals it feeds, V, and its current limit in A."""

    plus: str
    minus: str
    volts: float
    limit_A: float

    @classmethod
    def into(cls, fixture: FixtureFile, limit_A: float) -> Feed:
        """The supply as it feeds a fixture at the last voltage of its soft start, with a current limit."""
        point = fixture.points[input_point(fixture)]
        return cls(point.plus, point.minus, float(fixture.power.soft_start[-1]), limit_A)


@dataclass(frozen=True, slots=True)
class Hookup:
    """Host, cable and board as one circuit. `burned` are the parts that have burned open in it."""

    host: CircuitFile
    board: CircuitFile
    assembly: Assembly
    feed: Feed | None = None
    burned: tuple[str, ...] = ()

    @classmethod
    def of(cls, host: CircuitFile, cable: CableFile, board: CircuitFile, feed: Feed | None = None) -> Hookup:
        """Plug them together.

        Raises SetupError where nothing feeds the circuit: a dead circuit would look harmless with every cable.
        """
        if feed is None and not any(card.kind in "VI" for card in host.netlist.cards):
            raise SetupError(
                f"nothing feeds {host.name}: its netlist has no source, and no feed was given; "
                "give the bench supply's terminals, voltage and current limit as its feed"
            )
        return cls(host, board, join(host, cable, board), feed)

    @property
    def ratings(self) -> dict[str, Rating]:
        """Rating of every part that is rated and has not burned."""
        rated = ratings_of({"host": self.host, "board": self.board})
        return {part: rating for part, rating in rated.items() if part not in self.burned}

    def without(self, part: str) -> Hookup:
        """The same once a part, such as "host.RACC", has burned open."""
        kind = next(element.kind for element in self.assembly.elements if element.name == part)
        assembly = self.assembly
        for mode in _BURNED.get(kind, ("open",)):
            assembly = with_fault(assembly, f"{part} {mode}")
        return replace(self, assembly=assembly, burned=(*self.burned, part))

    def solve(self, values: Floats) -> Points:
        """Operating points of rows of part values; a row without one is left out, and told by `Points.lost`."""
        system = System(self.assembly, [LimitedSource("feed", self.feed.plus, self.feed.minus)] if self.feed else [])
        drives = {"feed": Drive(self.feed.volts, SUPPLY_OHM, 0.0, self.feed.limit_A)} if self.feed else {}
        rows = np.arange(len(values))
        try:
            return Points(self, values, rows, system.solve(values, drives))
        except NoOperatingPoint:
            rows = np.array([row for row in rows if _settles(system, values[row : row + 1], drives)], np.intp)
        return Points(self, values, rows, system.solve(values[rows], drives) if len(rows) else None)


@dataclass(frozen=True, slots=True)
class Points:
    """Operating points of a hookup; `rows` are those rows of `values` that have one."""

    hookup: Hookup
    values: Floats
    rows: NDArray[np.intp]
    solution: Solution | None

    @property
    def lost(self) -> tuple[int, ...]:
        """Rows without an operating point: nothing is known of them, least of all that they are harmless."""
        return tuple(sorted(set(range(len(self.values))) - {int(row) for row in self.rows}))

    def volts(self, terminal: str) -> Floats:
        """(rows,) voltage of a terminal against the ground, V; not a number where a row has no operating point."""
        return self._spread(self.solution.voltage(terminal)) if self.solution else self._spread(np.array([]))

    def stresses(self) -> dict[str, Stress]:
        """What each rated part that has not burned bears; (rows that have an operating point,) each."""
        if self.solution is None:
            return {}
        found = stresses(self.solution, self.values[self.rows])
        return {part: found[part] for part in self.hookup.ratings if part in found}

    def shares(self) -> dict[str, Floats]:
        """(rows,) what each rated part bears over its rating; not a number where a row has no operating point."""
        ratings, unknown = self.hookup.ratings, np.full(len(self.values), np.nan)
        known = {part: self._spread(stress.share(ratings[part])) for part, stress in self.stresses().items()}
        return {part: known.get(part, unknown) for part in ratings}

    def _spread(self, found: Floats) -> Floats:
        whole = np.full(len(self.values), np.nan)
        whole[self.rows] = found
        return whole


def _settles(system: System, values: Floats, drives: Mapping[str, Drive]) -> bool:
    try:
        system.solve(values, drives)
    except NoOperatingPoint:
        return False
    return True
