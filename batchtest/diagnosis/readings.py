"""The readings that a fault table knows: which a procedure takes and in what states, and which a person may take."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace

from batchtest.cables.readings import GIVES_UP, OVER_RANGE
from batchtest.diagnosis.model import Column, Ends, Spot
from batchtest.diagnosis.spots import spots_of
from batchtest.files.bench import DiodeAccuracy, OhmsAccuracy
from batchtest.files.library import Setup
from batchtest.judging.accuracy import Row, gain_half_width, offset_half_width, pick_range, row_for
from batchtest.judging.differences import slope_weights
from batchtest.judging.uncertainty import rectangular
from batchtest.nouns import Limit, Measurand, Measurement
from batchtest.procedure.actions import (
    ApplyLoads,
    CheckCold,
    Derive,
    Identify,
    Procedure,
    ProvePinMap,
    SoftStart,
)
from batchtest.quantities import show

#: States in which nothing is powered, and of values that are computed from others.
COLD, DERIVED = "cold", "derived"
#: Ranges on which a person reads ohms by hand, ohm: one for resistors and a junction, one for junctions in a string. A
#: meter goes on to the second by itself. The bench's nearest are taken.
BY_HAND_OHM = (10e3, 1e6)
#: What the needles' contact may add to a reading of ohms, standard uncertainty, ohm (common practice, no source).
CONTACT_OHM = 0.02


@dataclass(frozen=True, slots=True, kw_only=True)
class ColdRow:
    """A reading with nothing powered: terminals, test current (A), compliance (V), what is shown for one volt."""

    column: int
    plus: str
    minus: str
    current_A: float
    compliance_V: float
    per_volt: float
    largest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PoweredRow:
    """A reading of a powered state: a voltage between terminals, or the supply's current where they are empty."""

    column: int
    plus: str = ""
    minus: str = ""
    largest: float = float("inf")


@dataclass(frozen=True, slots=True, kw_only=True)
class PoweredState:
    """What feeds and loads the board: supply's voltage (V) and limit (A), current of each load channel (A)."""

    name: str
    volts: float
    limit_A: float
    loads: Mapping[int, float]
    rows: tuple[PoweredRow, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class DerivedRow:
    """A value that is computed from others: the sum of `weights` times those columns."""

    column: int
    weights: Mapping[int, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """Every column of a table, and how each is solved."""

    columns: tuple[Column, ...]
    spots: Mapping[str, Spot]
    cold: tuple[ColdRow, ...]
    powered: tuple[PoweredState, ...]
    derived: tuple[DerivedRow, ...]


def plan_of(setup: Setup, procedure: Procedure) -> Plan:
    """The readings of a procedure in the order in which they are taken, then those that a person may take."""
    return _Planner(setup, procedure).plan()


class _Planner:
    """Collects columns and rows."""

    def __init__(self, setup: Setup, procedure: Procedure) -> None:
        self._setup, self._procedure = setup, procedure
        self._columns: list[Column] = []
        self._cold: list[ColdRow] = []
        meter, ambient = setup.bench.meter, setup.bench.ambient
        self._calibrated_C = float(meter.calibrated_at)
        self._ambient_C = self._calibrated_C if ambient is None else float(ambient)

    def plan(self) -> Plan:
        """All of it."""
        for measurement in _gate_readings(self._procedure):
            self._add_cold(measurement)
        states = [
            self._state(action) for action in self._procedure.powered if isinstance(action, SoftStart | ApplyLoads)
        ]
        derived = tuple(self._derived_rows())
        spots = spots_of(self._setup)
        for spot in spots.values():
            self._add_cold_probes(spot)
        states = [self._with_probes(state, spots) if state.name.startswith("soft start") else state for state in states]
        columns, cold = tuple(self._columns), tuple(self._cold)
        return Plan(columns=columns, spots=spots, cold=cold, powered=tuple(states), derived=derived)

    def _add_cold(self, measurement: Measurement) -> None:
        accuracy, point = self._setup.bench.meter.accuracy, self._setup.fixture.points[measurement.point]
        row: OhmsAccuracy | DiodeAccuracy
        if measurement.measurand is Measurand.DIODE:
            row = row_for(accuracy.diode, measurement.range)
        else:
            row = row_for(accuracy.ohms, measurement.range)
        self._cold.append(self._cold_row(row, point.plus, point.minus))
        column = self._column(measurement, COLD, row, Ends.GATE)
        self._columns.append(replace(column, reach=self._cold[-1].largest))

    def _cold_row(self, row: OhmsAccuracy | DiodeAccuracy, plus: str, minus: str) -> ColdRow:
        if isinstance(row, DiodeAccuracy):
            compliance_V, per_volt, largest = OVER_RANGE * float(row.range), 1.0, float(row.range)
        else:
            compliance_V, per_volt = float(row.compliance), 1.0 / float(row.current)
            largest = min(OVER_RANGE * float(row.range), GIVES_UP * compliance_V * per_volt)
        return ColdRow(
            column=len(self._columns),
            plus=plus,
            minus=minus,
            current_A=float(row.current),
            compliance_V=compliance_V,
            per_volt=per_volt,
            largest=largest,
        )

    def _state(self, action: SoftStart | ApplyLoads) -> PoweredState:
        if isinstance(action, SoftStart):
            name, volts, ends = f"soft start {show(action.volts, 'V', 3)}", action.volts, Ends.AT_ONCE
            loads: Mapping[int, float] = {}
        else:
            name, volts, ends = f"load point {action.index + 1}", self._full_V, Ends.NOTHING
            loads = action.currents
        rows = tuple(self._powered_row(one, name, ends) for one in action.measurements)
        return PoweredState(name=name, volts=volts, limit_A=action.limit_A, loads=loads, rows=rows)

    @property
    def _full_V(self) -> float:
        return float(self._setup.fixture.power.soft_start[-1])

    def _powered_row(self, measurement: Measurement, state: str, ends: Ends) -> PoweredRow:
        accuracy, place = self._setup.bench, len(self._columns)
        if measurement.measurand is Measurand.CURRENT:
            row: Row = row_for(accuracy.supply.accuracy.current, measurement.range)
            self._columns.append(self._column(measurement, state, row, ends))
            return PoweredRow(column=place)
        point, row = self._setup.fixture.points[measurement.point], self._volts_row(measurement.range)
        largest = OVER_RANGE * float(accuracy.meter.accuracy.volts_dc[-1].range)  # the reader goes on to higher ranges
        self._columns.append(replace(self._column(measurement, state, row, ends), reach=largest))
        return PoweredRow(column=place, plus=point.plus, minus=point.minus, largest=largest)

    def _derived_rows(self) -> Iterator[DerivedRow]:
        for action in self._procedure.powered:
            if isinstance(action, Derive):
                for measurement in action.measurements:
                    yield self._derived_row(measurement)

    def _derived_row(self, measurement: Measurement) -> DerivedRow:
        at = [
            (index, load_A or 0.0)
            for index, (column, load_A) in enumerate(zip(self._columns, self._loads_A(), strict=True))
            if column.point == measurement.point and load_A is not None
        ]
        nominal_V = float(self._setup.limits.rails[measurement.point].nominal)
        if measurement.measurand is Measurand.REGULATION:
            weights = {at[0][0]: 1 / nominal_V, at[-1][0]: -1 / nominal_V}
        else:
            slopes = slope_weights([amperes for _, amperes in at])
            sign = 1.0 if nominal_V < 0 else -1.0
            weights = {index: sign * slope for (index, _), slope in zip(at, slopes, strict=True)}
        noise = sum((weight * self._columns[index].noise) ** 2 for index, weight in weights.items()) ** 0.5
        first = self._columns[at[0][0]]
        limit = measurement.limit or Limit()
        self._columns.append(
            Column(
                name=measurement.name,
                point=measurement.point,
                measurand=measurement.measurand,
                unit=measurement.unit,
                state=DERIVED,
                reach=float("inf"),
                lower=_or(limit.lower, -float("inf")),
                upper=_or(limit.upper, float("inf")),
                instrument=first.instrument,
                gain=first.gain,
                noise=noise,
            )
        )
        return DerivedRow(column=len(self._columns) - 1, weights=weights)

    def _loads_A(self) -> list[float | None]:
        """Current drawn from its rail for every column so far, A; `None` where it is no rail at a load point."""
        loads = {
            one.name: one.load_A or 0.0
            for action in self._procedure.powered
            if isinstance(action, ApplyLoads)
            for one in action.measurements
            if one.point
        }
        return [loads.get(column.name) for column in self._columns]

    def _volts_row(self, range_: float) -> Row:
        return row_for(self._setup.bench.meter.accuracy.volts_dc, range_)

    def _column(self, one: Measurement, state: str, row: Row, ends: Ends) -> Column:
        limit, abort = one.limit or Limit(), one.abort or Limit()
        return Column(
            name=one.name,
            point=one.point,
            measurand=one.measurand,
            unit=one.unit,
            state=state,
            reach=float("inf"),
            lower=_or(limit.lower, -float("inf")),
            upper=_or(limit.upper, float("inf")),
            abort_lower=_or(abort.lower, -float("inf")),
            abort_upper=_or(abort.upper, float("inf")),
            ends=ends,
            instrument=f"{_function(one.measurand)} {show(float(row.range), one.unit, 3)}",
            gain=self._gain(row),
            offset=self._offset(row),
            noise=_noise(row),
        )

    def _gain(self, row: Row) -> float:
        return rectangular(gain_half_width(row, self._ambient_C, self._calibrated_C))

    def _offset(self, row: Row) -> float:
        return rectangular(offset_half_width(row, self._ambient_C, self._calibrated_C))

    def _add_cold_probes(self, spot: Spot) -> None:
        """One column for each range."""
        rows = self._setup.bench.meter.accuracy.ohms
        for wanted in BY_HAND_OHM:
            row = min(rows, key=lambda one: abs(math.log(float(one.range) / wanted)))
            self._cold.append(self._cold_row(row, spot.name, spot.minus))
            self._columns.append(
                Column(
                    name=cold_probe(spot.name, wanted),
                    point=spot.name,
                    measurand=Measurand.RESISTANCE,
                    unit="ohm",
                    state=COLD,
                    reach=self._cold[-1].largest,
                    probe=True,
                    instrument=f"ohms {show(float(row.range), 'ohm', 3)}",
                    gain=self._gain(row),
                    offset=self._offset(row),
                    noise=_noise(row),
                )
            )

    def _with_probes(self, state: PoweredState, spots: Mapping[str, Spot]) -> PoweredState:
        range_ = pick_range(self._setup.bench.meter.accuracy.volts_dc, self._full_V)
        rows = list(state.rows)
        for spot in spots.values():
            rows.append(
                PoweredRow(column=len(self._columns), plus=spot.name, minus=spot.minus, largest=OVER_RANGE * range_)
            )
            self._columns.append(
                Column(
                    name=f"{spot.name} @ {state.name}",
                    point=spot.name,
                    measurand=Measurand.VOLTAGE,
                    unit="V",
                    state=state.name,
                    reach=OVER_RANGE * range_,
                    probe=True,
                    instrument=f"volts {show(range_, 'V', 3)}",
                    gain=self._gain(self._volts_row(range_)),
                    offset=self._offset(self._volts_row(range_)),
                    noise=_noise(self._volts_row(range_)),
                )
            )
        return replace(state, rows=tuple(rows))


def _noise(row: Row) -> float:
    """Scatter of a reading; of ohms with what the contact adds."""
    return math.hypot(float(row.noise), CONTACT_OHM if isinstance(row, OhmsAccuracy) else 0.0)


def cold_probe(spot: str, range_: float) -> str:
    """Name of the column of an unpowered probe on one of the ranges `BY_HAND_OHM`."""
    return f"{spot} cold" if range_ == BY_HAND_OHM[0] else f"{spot} cold, high range"


def _gate_readings(procedure: Procedure) -> Iterator[Measurement]:
    for action in procedure.gate:
        if isinstance(action, Identify | ProvePinMap | CheckCold):
            yield from action.measurements


def _function(measurand: Measurand) -> str:
    words = {Measurand.VOLTAGE: "volts", Measurand.DIODE: "diode", Measurand.CURRENT: "supply current"}
    return words.get(measurand, "ohms")


def _or(bound: float | None, instead: float) -> float:
    return instead if bound is None else bound
