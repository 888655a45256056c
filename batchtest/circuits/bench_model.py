"""The circuit as a bench drives it: a supply, a meter's ohms source and load channels at a fixture's points."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.sources import Drive, LimitedSource
from batchtest.circuits.system import Solution, System
from batchtest.errors import SetupError, nearest

Floats = NDArray[np.float64]

#: Series resistance of the supply with its leads, and the least resistance of a load channel, ohm.
SUPPLY_OHM, LOAD_OHM = 0.02, 0.05
#: Inner resistance of the ohms source where it gives up its current and holds its compliance voltage.
METER_OHM = 1.0


class BenchModel:
    """A circuit with the bench's sources: "supply", "load.1" ..., and "meter.<point>" for ohms.

    Parameters
    ----------
    assembly : the joined circuit.
    points : point -> (plus, minus) terminals.
    input : the point into which the supply feeds.
    loads : load channel -> the point it can draw from.
    """

    def __init__(
        self, assembly: Assembly, points: Mapping[str, tuple[str, str]], input: str, loads: Mapping[int, str]
    ) -> None:
        self.assembly = assembly
        self.points = dict(points)
        self.loads = dict(loads)
        sources = [self._source("supply", input)]
        sources += [self._source(f"load.{channel}", point) for channel, point in loads.items()]
        self.system = System(assembly, [*sources, *(self._source(f"meter.{point}", point) for point in points)])

    def cold(
        self, values: Floats, point: str, current_A: float, compliance_V: float, start: Solution | None = None
    ) -> Solution:
        """Ohms source on one point, everything else off; into an open pair it reads its compliance voltage."""
        self._check(point)
        drive = Drive(compliance_V, METER_OHM, 0.0, current_A)
        return self.system.solve(values, {f"meter.{point}": drive}, start)

    def powered(
        self,
        values: Floats,
        volts: float,
        limit_A: float,
        load_currents: Mapping[int, float | Floats],
        start: Solution | None = None,
    ) -> Solution:
        """Supply at `volts` with its current limit, load channels drawing what they are set to (A)."""
        drives = {"supply": Drive(volts, SUPPLY_OHM, 0.0, limit_A)}
        for channel, amperes in load_currents.items():
            if channel not in self.loads:
                known = nearest(str(channel), [str(one) for one in self.loads])
                raise SetupError(f"no load channel {channel} at this fixture; {known}")
            drives[f"load.{channel}"] = Drive(0.0, LOAD_OHM, -np.abs(amperes), 0.0)
        return self.system.solve(values, drives, start)

    def _source(self, name: str, point: str) -> LimitedSource:
        self._check(point)
        return LimitedSource(name, *self.points[point])

    def _check(self, point: str) -> None:
        if point not in self.points:
            raise SetupError(f"no point {point!r} at this fixture; {nearest(point, list(self.points))}")
