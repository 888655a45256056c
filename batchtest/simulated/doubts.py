"""How far the readings of a good bench may be from the truth: expanded uncertainties from the bench file's tables."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from batchtest.files.bench import OhmsAccuracy
from batchtest.files.library import Setup
from batchtest.judging.accuracy import Row, half_width, row_for
from batchtest.judging.differences import Shared, output_resistance, regulation, shared
from batchtest.judging.uncertainty import COVERAGE, of_reading, rectangular
from batchtest.nouns import Measurand, Measurement, Reading
from batchtest.procedure.actions import ApplyLoads, Procedure
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.imperfections import noise_rms, row_for_value

Values = Mapping[str, float | None]


@dataclass(frozen=True, slots=True)
class Doubt:
    """How far a reading may be off, base unit, k = 2: the `reading` itself, and what the `load` draws amiss."""

    reading: float = 0.0
    load: float = 0.0


class Doubts:
    """The doubt about every reading of a procedure on a bench."""

    def __init__(self, setup: Setup, procedure: Procedure) -> None:
        self._setup = setup
        meter, ambient = setup.bench.meter, setup.bench.ambient
        self._calibrated_C = float(meter.calibrated_at)
        self._ambient_C = self._calibrated_C if ambient is None else float(ambient)
        self._nplc, self._count = float(meter.integration), meter.readings
        self._load_points = [action for action in procedure.powered if isinstance(action, ApplyLoads)]

    def about(self, measurement: Measurement, values: Values) -> Doubt:
        """The doubt about one measurement of a board whose true values are `values`."""
        value = values[measurement.name]
        if value is None:
            return Doubt()
        if measurement.measurand in (Measurand.REGULATION, Measurand.OUTPUT_RESISTANCE):
            return Doubt(self._derived(measurement, values))
        return Doubt(self._expanded(measurement, value), self._load(measurement, values))

    def _expanded(self, measurement: Measurement, value: float) -> float:
        row = self._row(measurement)
        by_supply = measurement.measurand is Measurand.CURRENT  # read once, as its table says
        nplc = float(row.integration) if by_supply else self._nplc
        return of_reading(
            row,
            value,
            spread=self._spread(row, nplc),
            count=1 if by_supply else self._count,
            nplc=nplc,
            ambient_C=self._ambient_C,
            calibrated_at_C=self._calibrated_C,
        )

    def _row(self, measurement: Measurement) -> Row:
        meter = self._setup.bench.meter.accuracy
        if measurement.measurand is Measurand.CURRENT:
            return row_for(self._setup.bench.supply.accuracy.current, measurement.range)
        if measurement.measurand is Measurand.RESISTANCE:
            return row_for(meter.ohms, measurement.range)
        if measurement.measurand is Measurand.DIODE:
            return row_for(meter.diode, measurement.range)
        return row_for(meter.volts_dc, measurement.range)

    def _spread(self, row: Row, nplc: float) -> float:
        """Noise of one raw value, with the hum that its integration leaves."""
        left = abs(math.sin(math.pi * nplc) / (math.pi * nplc)) / math.sqrt(2)
        hum_V = float(simulation_of(self._setup).hum) * left
        hum = hum_V / float(row.current) if isinstance(row, OhmsAccuracy) else hum_V
        return math.hypot(noise_rms(row, nplc), hum)

    def _at_load_points(self, measurement: Measurement) -> list[tuple[Measurement, ApplyLoads]]:
        """The measurements of the same point at every load point, with the action that makes them."""
        return [
            (one, action)
            for action in self._load_points
            for one in action.measurements
            if one.point == measurement.point
        ]

    def _load(self, measurement: Measurement, values: Values) -> float:
        """What errors of the load's currents move a value by: their share of the way from first to last load point."""
        if measurement.load_point is None:
            return 0.0
        at = self._at_load_points(measurement)
        first, last = values[at[0][0].name], values[at[-1][0].name]
        if first is None or last is None:
            return 0.0
        share = max((self._share(at, channel, measurement.load_point) for channel in at[0][1].currents), default=0.0)
        return COVERAGE * rectangular(share) * abs(last - first)

    def _share(self, at: list[tuple[Measurement, ApplyLoads]], channel: int, load_point: int) -> float:
        """Half-width of a channel's current at a load point, as a share of its way from first to last load point."""
        drawn_A = next(action.currents[channel] for one, action in at if one.load_point == load_point)
        span_A = abs(at[-1][1].currents[channel] - at[0][1].currents[channel])
        if not drawn_A or not span_A:
            return 0.0
        row = row_for_value(self._setup.bench.load.accuracy.current, drawn_A)
        return half_width(row, drawn_A, self._ambient_C, self._calibrated_C) / span_A

    def _derived(self, measurement: Measurement, values: Values) -> float:
        at = [one for one, _ in self._at_load_points(measurement)]
        readings = [self._reading(one, values[one.name]) for one in at]
        currents_A = [one.load_A or 0.0 for one in at]
        common = self._shared(at[0], max(currents_A))
        if measurement.measurand is Measurand.REGULATION:
            nominal_V = float(self._setup.limits.rails[measurement.point].nominal)
            ends_A = (currents_A[0], currents_A[-1])
            derived = regulation(readings[0], readings[-1], nominal_V, currents_A=ends_A, shared=common)
        else:
            derived = output_resistance(readings, currents_A, shared=common)
        return derived.uncertainty or 0.0

    def _reading(self, measurement: Measurement, value: float | None) -> Reading:
        spread = self._spread(self._row(measurement), self._nplc)
        return Reading(value=value, unit="V", spread=spread, count=self._count, nplc=self._nplc)

    def _shared(self, measurement: Measurement, largest_A: float) -> Shared:
        load = row_for_value(self._setup.bench.load.accuracy.current, largest_A) if largest_A else None
        meter = row_for(self._setup.bench.meter.accuracy.volts_dc, measurement.range)
        return shared(meter, load, ambient_C=self._ambient_C, calibrated_at_C=self._calibrated_C)
