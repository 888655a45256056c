"""What drives current through the part in series with an outlet: nothing, its host, or the bench supply."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Protocol

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import OutletModel, Solution
from batchtest.circuits.bench_model import LOAD_OHM, SUPPLY_OHM

Floats = NDArray[np.float64]

#: Resistances at which a host is solved for what it gives a load that takes all it can get, ohm.
_GRID_OHM = tuple(float(ohm) for ohm in np.geomspace(0.1, 1e7, 97))


class Feed(Protocol):
    """One way of driving, with nothing switched meanwhile."""

    def amperes(self, ohm: float) -> float:
        """Current through the part at a resistance of it, A."""
        ...

    def volts(self, ohm: float) -> float:
        """Voltage at the outlet's pins, V."""
        ...


@dataclass(frozen=True, slots=True)
class OpenFeed:
    """No current; the outlet is at a voltage of its own."""

    open_V: float

    def amperes(self, ohm: float) -> float:
        """None."""
        return 0.0

    def volts(self, ohm: float) -> float:
        """The voltage with nothing on it, V."""
        return self.open_V


@dataclass(frozen=True, slots=True)
class Behind:
    """What a host's circuit has before the part at one current out of it.

    `volts` is the voltage there, V; `upstream_A` the current through the host's own fuse; `points` every point, V.
    """

    volts: float
    upstream_A: float
    points: Mapping[str, float]


@dataclass(slots=True)
class HostSource:
    """One host's circuit before the part; solved for each current once and kept.

    Parameters
    ----------
    part_ohm : resistance at which it is solved; what lies before the part depends on the current alone.
    points : point -> plus and minus terminal.
    upstream : nodes and resistance of the host's own fuse; `None` where it has none.
    load_ohm : least resistance of the load with what leads to it, ohm.
    """

    model: OutletModel
    values: Floats
    part_ohm: float
    temperature_C: float
    points: Mapping[str, tuple[str, str]]
    upstream: tuple[str, str, float] | None
    load_ohm: float
    _known: dict[float, Behind] = field(default_factory=dict)
    _most: tuple[list[float], list[float]] | None = None
    _start: Solution | None = None

    def behind(self, amperes: float) -> Behind:
        """Before the part, with a current through it that the host can give; raises NoOperatingPoint."""
        if amperes not in self._known:
            solution = self.model.loaded(
                self.values, self.part_ohm, amperes, self._start, temperature_C=self.temperature_C
            )
            self._start = self._start or solution
            drawn_A = float(self.model.amperes(solution)[0])
            self._known[amperes] = Behind(
                float(self.model.volts(solution)[0]) + drawn_A * self.part_ohm,
                self._upstream_A(solution),
                {name: float(solution.between(*ends)[0]) for name, ends in self.points.items()},
            )
        return self._known[amperes]

    def _upstream_A(self, solution: Solution) -> float:
        if self.upstream is None:
            return 0.0
        one, other, ohm = self.upstream
        return float(solution.between(one, other)[0]) / ohm

    def most_A(self, ohm: float) -> float:
        """Current through a resistance of part and wire into a load that takes all it can get, A.

        Between solved resistances the current goes as a power of the resistance.
        """
        if self._most is None:
            solution = self.model.loaded(
                self.values,
                np.array(_GRID_OHM),
                np.inf,
                load_ohm=self.load_ohm,
                temperature_C=self.temperature_C,
            )
            self._most = [math.log(each) for each in _GRID_OHM], np.log(self.model.amperes(solution)).tolist()
        logs, amperes = self._most
        wanted = min(max(math.log(ohm), logs[0]), logs[-1])
        place = min(max(bisect_right(logs, wanted) - 1, 0), len(logs) - 2)
        share = (wanted - logs[place]) / (logs[place + 1] - logs[place])
        return math.exp(amperes[place] + share * (amperes[place + 1] - amperes[place]))


@dataclass(frozen=True, slots=True)
class HostFeed:
    """The host drives, and the load draws `set_A` (above 0) as far as it gets it.

    `wire_ohm` lies between the part and the pins, `load_ohm` is the least resistance of load and lead.
    """

    source: HostSource
    set_A: float
    wire_ohm: float
    load_ohm: float

    def amperes(self, ohm: float) -> float:
        """Current through the part at a resistance of it, A."""
        return min(self.set_A, self.source.most_A(ohm + self.wire_ohm))

    def volts(self, ohm: float) -> float:
        """Voltage at the outlet's pins, V."""
        most_A = self.source.most_A(ohm + self.wire_ohm)
        if most_A < self.set_A:
            return most_A * self.load_ohm
        return self.source.behind(self.set_A).volts - self.set_A * (ohm + self.wire_ohm)


@dataclass(frozen=True, slots=True)
class BenchFeed:
    """The bench supply drives at `supply_V` under `limit_A`, and the load draws `set_A` as far as it gets it."""

    supply_V: float
    limit_A: float
    set_A: float
    load_ohm: float

    def amperes(self, ohm: float) -> float:
        """Current through the part at a resistance of it, A: Ohm's law, the supply's limit and the load's current."""
        return min(self.set_A, self.limit_A, self.supply_V / (SUPPLY_OHM + ohm + self.load_ohm))

    def volts(self, ohm: float) -> float:
        """Voltage at the outlet's pins, V; a load that does not get its current is as low as it can be."""
        amperes = self.amperes(ohm)
        if amperes < self.set_A:
            return amperes * self.load_ohm
        return self.supply_V - amperes * (SUPPLY_OHM + ohm)

    def supply_volts(self, ohm: float) -> float:
        """Voltage at the supply's terminals, V: below what it is set to once it is in its limit."""
        return min(self.supply_V - self.amperes(ohm) * SUPPLY_OHM, self.volts(ohm) + self.amperes(ohm) * ohm)


def least_load_ohm(lead_ohm: float) -> float:
    """Least resistance of the load with what leads to it, ohm."""
    return LOAD_OHM + lead_ohm
