"""The circuit as a bench drives it: a supply, a meter's ohms source and load channels at a fixture's points."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.junctions import REFERENCE_C
from batchtest.circuits.moving import MovingSource
from batchtest.circuits.sources import Drive, LimitedSource
from batchtest.circuits.system import Solution, System
from batchtest.errors import SetupError, nearest
from batchtest.files.fixture import FixtureFile, input_point

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
        self._meter = [self._source(f"meter.{point}", point) for point in points]
        self.system = System(assembly, [*sources, *self._meter])

    @classmethod
    def of(cls, assembly: Assembly, fixture: FixtureFile) -> Self:
        """A circuit with the bench's sources at the points of a fixture."""
        return cls(
            assembly,
            points={name: (point.plus, point.minus) for name, point in fixture.points.items()},
            input=input_point(fixture),
            loads={point.load: name for name, point in fixture.points.items() if point.load is not None},
        )

    def cold(
        self,
        values: Floats,
        point: str,
        current_A: float,
        compliance_V: float,
        start: Solution | None = None,
        *,
        temperature_C: float | Floats = REFERENCE_C,
    ) -> Solution:
        """Ohms source on one point, everything else off; into an open pair it reads its compliance voltage."""
        name, drive = self._ohms(point, current_A, compliance_V)
        return self.system.solve(values, {name: drive}, start, temperature_C=temperature_C)

    def cold_all(
        self,
        values: Floats,
        rows: Sequence[tuple[str, float, float]],
        temperature_C: float | Floats = REFERENCE_C,
        stepped: NDArray[np.bool_] | None = None,
    ) -> Floats:
        """Voltage across the ohms source for many readings of many boards at once, shape (rows, samples), V.

        Parameters
        ----------
        values : (samples, columns) part values.
        rows : point, current (A) and compliance (V) of each reading; a point may come more than once.
        temperature_C : of all junctions; a number for all samples or an array of (samples,).
        stepped : (samples,) those that are near the first one, and need be right to first order only: much faster.

        Raises
        ------
        NoOperatingPoint : names the node that would not settle, the sample and the point.
        SetupError : no such point, or values or temperatures do not fit.
        """
        return self._moving.volts(values, [self._ohms(*row) for row in rows], temperature_C, stepped)

    def powered(
        self,
        values: Floats,
        volts: float | Floats,
        limit_A: float,
        load_currents: Mapping[int, float | Floats],
        start: Solution | None = None,
        *,
        temperature_C: float | Floats = REFERENCE_C,
    ) -> Solution:
        """Supply at `volts` with its current limit, load channels drawing what they are set to (A)."""
        drives = self._powers(volts, limit_A, load_currents)
        return self.system.solve(values, drives, start, temperature_C=temperature_C)

    def powered_near(
        self,
        near: Solution,
        values: Floats,
        volts: float | Floats,
        limit_A: float,
        load_currents: Mapping[int, float | Floats],
        *,
        temperature_C: float | Floats = REFERENCE_C,
    ) -> Solution:
        """As `powered`, for samples near a solution of one sample: right to first order, and much faster."""
        drives = self._powers(volts, limit_A, load_currents)
        return self.system.step(near, values, drives, temperature_C=temperature_C)

    def _powers(
        self, volts: float | Floats, limit_A: float, load_currents: Mapping[int, float | Floats]
    ) -> dict[str, Drive]:
        """What supply and loads are set to."""
        drives = {"supply": Drive(volts, SUPPLY_OHM, 0.0, limit_A)}
        for channel, amperes in load_currents.items():
            if channel not in self.loads:
                known = nearest(str(channel), [str(one) for one in self.loads])
                raise SetupError(f"no load channel {channel} at this fixture; {known}")
            drives[f"load.{channel}"] = Drive(0.0, LOAD_OHM, -np.abs(amperes), 0.0)
        return drives

    @cached_property
    def _moving(self) -> MovingSource:
        return MovingSource(self.assembly, self._meter)

    def _ohms(self, point: str, current_A: float, compliance_V: float) -> tuple[str, Drive]:
        """Name of the meter's source at a point, and what it is set to."""
        self._check(point)
        return f"meter.{point}", Drive(compliance_V, METER_OHM, 0.0, current_A)

    def _source(self, name: str, point: str) -> LimitedSource:
        self._check(point)
        return LimitedSource(name, *self.points[point])

    def _check(self, point: str) -> None:
        if point not in self.points:
            raise SetupError(f"no point {point!r} at this fixture; {nearest(point, list(self.points))}")
