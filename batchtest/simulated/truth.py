"""The truth about simulated boards, by which the station is judged: from circuit and limits alone."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from typing import Literal

from batchtest.files.bench import OhmsAccuracy
from batchtest.files.library import Setup
from batchtest.judging.accuracy import Row, half_width, row_for
from batchtest.judging.differences import Shared, output_resistance, regulation, shared
from batchtest.judging.uncertainty import COVERAGE, of_reading, rectangular
from batchtest.nouns import Limit, Measurand, Measurement, Reading
from batchtest.procedure.actions import ApplyLoads, CheckCold, Derive, Procedure, SoftStart
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.imperfections import noise_rms
from batchtest.simulated.true_values import TrueValues, true_values

Must = Literal["pass", "not-pass", "either"]

#: How many expanded uncertainties inside its limits a board must be for its pass to be certain.
CERTAIN = 2.0


@dataclass(frozen=True, slots=True, kw_only=True)
class BoardTruth:
    """What is true of one board.

    Parameters
    ----------
    serial, fault : the board, and the fault it has ("DZ12 short"), `None` for a good one.
    readings : measurement -> true value, base unit; `None` where it cannot be reached (over range, an open needle).
    must : what the outcome must be: "pass", "not-pass", or "either" where the doubt is the instruments'.
    why : the measurements that decided it, in plain words.
    """

    serial: str
    fault: str | None
    readings: Mapping[str, float | None]
    must: Must
    why: str = ""

    def as_json(self) -> dict[str, object]:
        """The same as a plain dictionary, for `json.dumps`."""
        return asdict(self)


def truth(setup: Setup, procedure: Procedure, serials: Sequence[str]) -> list[BoardTruth]:
    """What is true of boards, and what their attempts must come to.

    A value beyond its limit is "not-pass"; all values inside by more than two expanded uncertainties are "pass". The
    error of the load's own current is none of the reading; it widens the doubt of the rails it loads, on both sides.

    Raises
    ------
    SetupError : the bench has no `[simulation]`.
    """
    judge = _Judge(setup, procedure)
    return [judge.board(board) for board in true_values(setup, procedure, serials)]


@dataclass(frozen=True, slots=True)
class _Doubt:
    """How far a reading may be off, base unit, k = 2: the meter's `reading`, and what the `load` draws amiss."""

    reading: float
    load: float = 0.0


class _Judge:
    """The limits of a procedure, and the doubt about each of its readings."""

    def __init__(self, setup: Setup, procedure: Procedure) -> None:
        self._setup = setup
        bench, meter = setup.bench, setup.bench.meter
        self._ambient_C = float(meter.calibrated_at if bench.ambient is None else bench.ambient)
        self._calibrated_C = float(meter.calibrated_at)
        self._nplc, self._count = float(meter.integration), meter.readings
        actions = [
            action
            for action in (*procedure.gate, *procedure.powered)
            if isinstance(action, CheckCold | SoftStart | ApplyLoads | Derive)
        ]
        self._measurements = [one for action in actions for one in action.measurements]
        self._at_points: dict[str, list[Measurement]] = {}
        for one in self._measurements:
            if one.load_point is not None:
                self._at_points.setdefault(one.point, []).append(one)

    def board(self, board: TrueValues) -> BoardTruth:
        """What one board must come to, and why."""
        readings = {
            one.name: None if self._blind(one.point) else board.values.get(one.name) for one in self._measurements
        }
        if board.unsolved:
            return BoardTruth(
                serial=board.serial, fault=board.fault, readings=readings, must="either", why=board.unsolved
            )
        wrong = [f"{state}: supply in its current limit" for state in board.limiting] + self._bench_faults()
        doubtful = []
        for one in self._measurements:
            verdict = self._verdict(one, board.values)
            wrong += [one.name] if verdict == "not-pass" else []
            doubtful += [one.name] if verdict == "either" else []
        must: Must = "not-pass" if wrong else "either" if doubtful else "pass"
        return BoardTruth(
            serial=board.serial, fault=board.fault, readings=readings, must=must, why="; ".join(wrong or doubtful)
        )

    def _bench_faults(self) -> list[str]:
        """What must keep any board from passing: another cable than the fixture's, a needle that does not touch."""
        simulation = simulation_of(self._setup)
        other = simulation.cable is not None and simulation.cable != self._setup.fixture.cable
        return [f"{simulation.cable} is fitted"] * other + [f"no contact at {one}" for one in simulation.open_needles]

    def _blind(self, point: str) -> bool:
        ends = self._setup.fixture.points.get(point)
        return ends is not None and bool({ends.plus, ends.minus} & set(simulation_of(self._setup).open_needles))

    def _verdict(self, measurement: Measurement, values: Mapping[str, float | None]) -> Must:
        found: list[Must] = [
            self._against(limit, values[measurement.name], self._doubt(measurement, values))
            for limit in (measurement.limit, measurement.abort)
            if limit is not None
        ]
        return "not-pass" if "not-pass" in found else "either" if "either" in found else "pass"

    @staticmethod
    def _against(limit: Limit, value: float | None, doubt: _Doubt) -> Must:
        if value is None:  # over range: more than any upper bound, and than any lower one
            return "not-pass" if limit.upper is not None else "pass"
        lower = -math.inf if limit.lower is None else limit.lower
        upper = math.inf if limit.upper is None else limit.upper
        inside = min(value - lower, upper - value)
        if inside < -doubt.load:
            return "not-pass"
        return "pass" if inside > CERTAIN * doubt.reading + doubt.load else "either"

    def _doubt(self, measurement: Measurement, values: Mapping[str, float | None]) -> _Doubt:
        value = values[measurement.name]
        if value is None:
            return _Doubt(0.0)
        if measurement.measurand in (Measurand.REGULATION, Measurand.OUTPUT_RESISTANCE):
            return _Doubt(self._derived_doubt(measurement, values))
        row = self._row(measurement)
        direct = measurement.measurand is not Measurand.CURRENT  # the supply reads itself once, not the meter
        return _Doubt(self._expanded(row, value, direct), self._load_doubt(measurement, values))

    def _row(self, measurement: Measurement) -> Row:
        meter, supply = self._setup.bench.meter.accuracy, self._setup.bench.supply.accuracy
        if measurement.measurand is Measurand.CURRENT:
            return row_for(supply.current, measurement.range)
        if measurement.measurand is Measurand.RESISTANCE:
            return row_for(meter.ohms, measurement.range)
        if measurement.measurand is Measurand.DIODE:
            return row_for(meter.diode, measurement.range)
        return row_for(meter.volts_dc, measurement.range)

    def _expanded(self, row: Row, value: float, direct: bool) -> float:
        nplc = self._nplc if direct else float(row.integration)
        return of_reading(
            row,
            value,
            spread=self._spread(row, nplc),
            count=self._count if direct else 1,
            nplc=nplc,
            ambient_C=self._ambient_C,
            calibrated_at_C=self._calibrated_C,
        )

    def _spread(self, row: Row, nplc: float) -> float:
        """Noise of one raw value, with the hum that its integration leaves where it is in volts."""
        hum_V = float(simulation_of(self._setup).hum) * abs(math.sin(math.pi * nplc) / (math.pi * nplc)) / math.sqrt(2)
        if isinstance(row, OhmsAccuracy):
            return math.hypot(noise_rms(row, nplc), hum_V / float(row.current))
        return math.hypot(noise_rms(row, nplc), hum_V)

    def _readings(self, point: str, values: Mapping[str, float | None]) -> tuple[list[Reading], list[float]]:
        readings, currents_A = [], []
        for one in self._at_points[point]:
            spread = self._spread(self._row(one), self._nplc)
            value = values[one.name]
            readings.append(Reading(value=value, unit="V", spread=spread, count=self._count, nplc=self._nplc))
            currents_A.append(one.load_A or 0.0)
        return readings, currents_A

    def _shared(self, point: str, largest_A: float) -> Shared:
        rows = self._setup.bench.load.accuracy.current
        load = next((row for row in rows if float(row.range) >= largest_A), rows[-1]) if largest_A else None
        meter = row_for(self._setup.bench.meter.accuracy.volts_dc, self._at_points[point][0].range)
        return shared(meter, load, ambient_C=self._ambient_C, calibrated_at_C=self._calibrated_C)

    def _derived_doubt(self, measurement: Measurement, values: Mapping[str, float | None]) -> float:
        readings, currents_A = self._readings(measurement.point, values)
        common = self._shared(measurement.point, max(currents_A))
        if measurement.measurand is Measurand.REGULATION:
            nominal_V = float(self._setup.limits.rails[measurement.point].nominal)
            ends_A = (currents_A[0], currents_A[-1])
            derived = regulation(readings[0], readings[-1], nominal_V, currents_A=ends_A, shared=common)
        else:
            derived = output_resistance(readings, currents_A, shared=common)
        return derived.uncertainty or 0.0

    def _load_doubt(self, measurement: Measurement, values: Mapping[str, float | None]) -> float:
        """What the error of the load's current moves a rail by, V, k = 2, by its slope between first and last point."""
        if measurement.load_point is None or not measurement.load_A:
            return 0.0
        first, last = self._at_points[measurement.point][0], self._at_points[measurement.point][-1]
        begin, end = values[first.name], values[last.name]
        span_A = (last.load_A or 0.0) - (first.load_A or 0.0)
        if begin is None or end is None or not span_A:
            return 0.0
        rows = self._setup.bench.load.accuracy.current
        row = next((row for row in rows if float(row.range) >= (measurement.load_A or 0.0)), rows[-1])
        half_A = half_width(row, measurement.load_A, self._ambient_C, self._calibrated_C)
        return COVERAGE * rectangular(half_A) * abs((end - begin) / span_A)
