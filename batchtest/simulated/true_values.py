"""True values of every measurement of a procedure, for batches of boards, solved from the circuit alone."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import BenchModel, Solution, draw_values, with_fault
from batchtest.errors import NoOperatingPoint
from batchtest.files.bench import DiodeAccuracy, OhmsAccuracy
from batchtest.files.library import Setup
from batchtest.judging.accuracy import row_for
from batchtest.nouns import Measurand, Measurement
from batchtest.procedure.actions import ApplyLoads, CheckCold, Derive, Procedure, ProvePinMap, SoftStart
from batchtest.simulated.boards import (
    assembly_of,
    fault_of,
    simulation_of,
    terminals_of,
    truly_fitted,
)

#: Beyond this share of its range, or of its compliance, the ohms function is over range.
_OVER_RANGE, _GIVES_UP = 1.2, 0.999

Floats = NDArray[np.float64]


@dataclass(slots=True)
class TrueValues:
    """One board: values by name of the measurement (`None`: over range, or not reached), what is wrong beside them.

    `limiting` names the states in which the supply would be in its current limit; `unsolved` is the solver's message.
    """

    serial: str
    fault: str | None
    values: dict[str, float | None] = field(default_factory=dict)
    limiting: list[str] = field(default_factory=list)
    unsolved: str = ""


def true_values(setup: Setup, procedure: Procedure, serials: Sequence[str]) -> list[TrueValues]:
    """True values of all boards by the cable truly fitted, in the order of `serials`; same faults solved together."""
    groups: dict[str | None, list[str]] = {}
    for serial in serials:
        groups.setdefault(fault_of(setup, serial), []).append(serial)
    good = assembly_of(setup, truly_fitted(setup))
    found: dict[str, TrueValues] = {}
    for fault, members in groups.items():
        model = BenchModel.of(good if fault is None else with_fault(good, fault), setup.fixture)
        values = draw_values(good, seed=simulation_of(setup).seed, serials=members)
        for board in _Group(setup, procedure, model, values).solve(members, fault):
            found[board.serial] = board
    return [found[serial] for serial in serials]


@dataclass(slots=True)
class _Group:
    """Boards with the same fault, one row of `values` each."""

    setup: Setup
    procedure: Procedure
    model: BenchModel
    values: Floats
    limiting: dict[str, NDArray[np.bool_]] = field(default_factory=dict)
    last: Solution | None = None

    def solve(self, serials: Sequence[str], fault: str | None) -> list[TrueValues]:
        """All boards at once; one by one where one of them has no operating point."""
        try:
            columns, limiting = dict(self._columns()), self.limiting
        except NoOperatingPoint as error:
            if len(serials) == 1:
                return [TrueValues(serials[0], fault, unsolved=str(error))]
            rows = [self.values[index : index + 1] for index in range(len(serials))]
            singles = [_Group(self.setup, self.procedure, self.model, row) for row in rows]
            return [
                one for single, serial in zip(singles, serials, strict=True) for one in single.solve([serial], fault)
            ]
        return [
            TrueValues(
                serial,
                fault,
                {name: _known(column[index]) for name, column in columns.items()},
                [name for name, flags in limiting.items() if flags[index]],
            )
            for index, serial in enumerate(serials)
        ]

    def _columns(self) -> Iterator[tuple[str, Floats]]:
        at_points: dict[str, list[tuple[float, Floats]]] = {}
        for action in (*self.procedure.gate, *self.procedure.powered):
            if isinstance(action, ProvePinMap | CheckCold):
                yield from ((one.name, self._cold(one)) for one in action.measurements)
            elif isinstance(action, SoftStart | ApplyLoads):
                solution = self._powered(action)
                for one in action.measurements:
                    column = self._powered_value(one, solution)
                    if isinstance(action, ApplyLoads):
                        at_points.setdefault(one.point, []).append((one.load_A or 0.0, column))
                    yield one.name, column
            elif isinstance(action, Derive):
                yield from ((one.name, self._derived(one, at_points[one.point])) for one in action.measurements)

    def _cold(self, measurement: Measurement) -> Floats:
        accuracy = self.setup.bench.meter.accuracy
        if measurement.measurand is Measurand.DIODE:
            diode: DiodeAccuracy = row_for(accuracy.diode, measurement.range)
            volts = self._cold_volts(measurement.point, float(diode.current), _OVER_RANGE * measurement.range)
            return np.where(volts > measurement.range, np.inf, volts)
        row: OhmsAccuracy = row_for(accuracy.ohms, measurement.range)
        current_A, compliance_V = float(row.current), float(row.compliance)
        volts = self._cold_volts(measurement.point, current_A, compliance_V)
        over = (volts >= _GIVES_UP * compliance_V) | (volts / current_A > _OVER_RANGE * measurement.range)
        return np.where(over, np.inf, volts / current_A)

    def _cold_volts(self, point: str, current_A: float, compliance_V: float) -> Floats:
        return self.model.cold(self.values, point, current_A, compliance_V).between(*self._ends(point))

    def _powered(self, action: SoftStart | ApplyLoads) -> Solution:
        loads: Mapping[int, float] = action.currents if isinstance(action, ApplyLoads) else {}
        volts = action.volts if isinstance(action, SoftStart) else float(self.setup.fixture.power.soft_start[-1])
        self.last = self.model.powered(self.values, volts, action.limit_A, loads, start=self.last)
        self.limiting[action.title] = self.last.source_A("supply") >= _GIVES_UP * action.limit_A
        return self.last

    def _powered_value(self, measurement: Measurement, solution: Solution) -> Floats:
        if measurement.measurand is Measurand.CURRENT:
            return solution.source_A("supply")
        return solution.between(*self._ends(measurement.point))

    def _derived(self, measurement: Measurement, at_points: Sequence[tuple[float, Floats]]) -> Floats:
        currents = np.array([amperes for amperes, _ in at_points])
        volts = np.array([column for _, column in at_points])
        if measurement.measurand is Measurand.REGULATION:
            nominal_V = float(self.setup.limits.rails[measurement.point].nominal)
            regulation: Floats = (volts[0] - volts[-1]) / nominal_V
            return regulation
        off = currents - currents.mean()
        slope = off @ volts / (off @ off) if off.any() else np.full(volts.shape[1], np.nan)
        return np.where(volts.sum(axis=0) < 0, slope, -slope)

    def _ends(self, point: str) -> tuple[str, str]:
        return terminals_of(self.setup)[point]


def _known(value: np.float64) -> float | None:
    return float(value) if np.isfinite(value) else None
