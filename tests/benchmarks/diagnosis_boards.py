"""Records of simulated boards without the wire: solved in batches, read with the rack's errors, judged by the rule.

What a station would record of them, line by line, in the order of the procedure and as far as it would go. Parts are
drawn as the rack draws them, of board, nest and cable, one bench for each board; instruments have errors of their own.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import UTC, datetime
from random import Random

import numpy as np

from batchtest.cables.readings import GIVES_UP, OVER_RANGE
from batchtest.circuits import Assembly, BenchModel, draw_values
from batchtest.diagnosis.readings import Plan
from batchtest.errors import NoOperatingPoint
from batchtest.files.fixture import input_point
from batchtest.files.library import Setup
from batchtest.judging.accuracy import Row, pick_range, row_for
from batchtest.judging.differences import output_resistance, regulation, shared
from batchtest.judging.rule import judge
from batchtest.judging.uncertainty import of_reading
from batchtest.nouns import Line, Measurand, Measurement, Phase, Reading, Verdict
from batchtest.procedure import Procedure
from batchtest.procedure.actions import ApplyLoads, CheckCold, Derive, Identify, PowerDown, ProvePinMap, SoftStart
from batchtest.simulated.imperfections import draw_error, noise_rms, row_for_value

NOW = datetime(2026, 1, 1, tzinfo=UTC)
Bias = Mapping[str, float]


@dataclass(frozen=True)
class Board:
    """One board on a bench of its own: `fault` names what is wrong, `assembly` and `scales` are it."""

    seed: int
    fault: str
    assembly: Assembly
    scales: Mapping[int, float] = field(default_factory=dict)
    bias: Bias = field(default_factory=dict)


class Desk:
    """Plays the procedure of a setup."""

    def __init__(self, setup: Setup, procedure: Procedure) -> None:
        self.setup, self.procedure = setup, procedure
        self._loads = {action.index: action for action in procedure.powered if isinstance(action, ApplyLoads)}

    def records(self, boards: Sequence[Board]) -> Iterator[tuple[Board, list[Line]]]:
        """Every board with its lines, those of one fault solved together; without operating point it is left out."""
        groups: dict[int, list[Board]] = {}
        for board in boards:
            groups.setdefault(hash((id(board.assembly), tuple(board.scales.items()))), []).append(board)
        for group in groups.values():
            try:
                yield from zip(group, self._play(group), strict=True)
            except NoOperatingPoint:
                for one in group:
                    try:
                        yield one, self._play([one])[0]
                    except NoOperatingPoint:
                        continue

    def _play(self, group: Sequence[Board]) -> list[list[Line]]:
        assembly = group[0].assembly
        model = BenchModel.of(assembly, self.setup.fixture)
        values = self.values(group)
        truth = self._truth(model, values, group)
        return [
            _Play(self.setup, self.procedure, one, {name: column[row] for name, column in truth.items()}).lines()
            for row, one in enumerate(group)
        ]

    def values(self, group: Sequence[Board]) -> np.ndarray:
        """Part values of boards with one fault."""
        each = [draw_values(group[0].assembly, [f"bench {one.seed}"], seed=one.seed) for one in group]
        values = np.concatenate(each)
        for index, factor in group[0].scales.items():
            values[:, index] *= factor
        return values

    def _truth(self, model: BenchModel, values: np.ndarray, group: Sequence[Board]) -> dict[str, np.ndarray]:
        """True value of every reading, and of "<state> limit": whether the supply is in its limit."""
        found: dict[str, np.ndarray] = {}
        cold = [
            one
            for action in self.procedure.gate
            if isinstance(action, Identify | ProvePinMap | CheckCold)
            for one in action.measurements
        ]
        rows = [cold_row(self.setup, one) for one in cold]
        volts = model.cold_all(
            values, [(one.point, float(row.current), compliance(row)) for one, row in zip(cold, rows, strict=True)]
        )
        for one, row, column in zip(cold, rows, volts, strict=True):
            if one.measurand is Measurand.DIODE:
                found[one.name] = np.where(column > one.range, np.inf, column)
            else:
                shown = column / float(row.current)
                over = (column >= GIVES_UP * compliance(row)) | (shown > OVER_RANGE * one.range)
                found[one.name] = np.where(over, np.inf, shown)
        last = None
        for action in self.procedure.powered:
            if not isinstance(action, SoftStart | ApplyLoads):
                continue
            full = float(self.setup.fixture.power.soft_start[-1])
            loads = self._drawn(action, group) if isinstance(action, ApplyLoads) else {}
            last = model.powered(
                values, action.volts if isinstance(action, SoftStart) else full, action.limit_A, loads, last
            )
            amperes = last.source_A("supply")
            found[f"{action.title} limit"] = amperes >= 0.999 * action.limit_A
            for one in action.measurements:
                if one.measurand is Measurand.CURRENT:
                    found[one.name] = amperes
                else:
                    point = self.setup.fixture.points[one.point]
                    found[one.name] = last.between(point.plus, point.minus)
        return found

    def _drawn(self, action: ApplyLoads, group: Sequence[Board]) -> dict[int, np.ndarray]:
        rows = self.setup.bench.load.accuracy.current
        return {
            channel: np.array(
                [
                    max(
                        0.0,
                        draw_error(row_for_value(rows, amperes), one.seed, f"load {channel}", "set").applied(amperes),
                    )
                    if amperes
                    else 0.0
                    for one in group
                ]
            )
            for channel, amperes in action.currents.items()
        }


def cold_row(setup: Setup, one: Measurement) -> Row:
    """Accuracy row of a cold reading."""
    accuracy = setup.bench.meter.accuracy
    return row_for(accuracy.diode if one.measurand is Measurand.DIODE else accuracy.ohms, one.range)


def compliance(row: Row) -> float:
    """Voltage at which a row's test current gives up, V."""
    return float(row.compliance) if hasattr(row, "compliance") else OVER_RANGE * float(row.range)


class _Play:
    """One attempt."""

    def __init__(self, setup: Setup, procedure: Procedure, board: Board, truth: Mapping[str, float]) -> None:
        self._setup, self._procedure, self._board, self._truth = setup, procedure, board, truth
        self._random = Random(f"{board.seed}/noise")
        self._lines: list[Line] = []

    def lines(self) -> list[Line]:
        """As far as the station would go."""
        cold = [
            self._read(one)
            for action in self._procedure.gate
            if isinstance(action, Identify | ProvePinMap | CheckCold)
            for one in action.measurements
        ]
        if all(map(_passed, cold)):
            self._power()
        return self._lines

    def _power(self) -> None:
        last = next(action for action in self._procedure.powered if isinstance(action, PowerDown))
        for action in self._procedure.powered:
            if isinstance(action, SoftStart | ApplyLoads):
                if not self._state(action):
                    break
            elif isinstance(action, Derive):
                for one in action.measurements:
                    self._derive(one)
        self._enter(
            last.measurements[0], Reading(value=last.measurements[0].expected, unit="V", uncertainty=1e-4, count=3)
        )

    def _state(self, action: SoftStart | ApplyLoads) -> bool:
        """Whether the attempt goes on."""
        limiting = bool(self._truth[f"{action.title} limit"])
        if isinstance(action, SoftStart) and limiting:
            return False
        for one in action.measurements:
            value = self._truth[one.name]
            abort = one.abort
            if abort is not None and not (-math.inf if abort.lower is None else abort.lower) <= value <= (
                math.inf if abort.upper is None else abort.upper
            ):
                bound = abort.upper if abort.upper is not None and value > abort.upper else abort.lower
                self._enter(
                    one,
                    Reading(value=bound + self._random.random() * (value - bound), unit="V", uncertainty=1e-3, count=1),
                )
                return False
            line = self._read(one)
            if (
                isinstance(action, SoftStart)
                and line.judgement is not None
                and line.judgement.verdict in (Verdict.FAIL, Verdict.UNREAD)
            ):
                return False
        return not limiting

    def _read(self, one: Measurement) -> Line:
        return self._enter(one, self._reading(one, float(self._truth[one.name])))

    def _reading(self, one: Measurement, true: float) -> Reading:
        function, instrument, rows = self._where(one)
        row = row_for(rows, one.range)
        if one.measurand is Measurand.VOLTAGE and abs(true) > OVER_RANGE * one.range:
            row = row_for(rows, pick_range(rows, true))
        if not math.isfinite(true):
            return Reading(value=None, unit=one.unit, beyond=float(row.range), raw="+9.9E+37")
        meter = self._setup.bench.meter
        count = 1 if instrument == "supply" else meter.readings
        error = draw_error(row, self._board.seed, instrument, function)
        noise = float(row.noise) if instrument == "supply" else noise_rms(row, float(meter.integration))
        value = error.applied(true) * (1 + self._board.bias.get(function, 0.0))
        value += sum(self._random.gauss(0, noise) for _ in range(count)) / count
        if (
            one.measurand in (Measurand.RESISTANCE, Measurand.DIODE)
            and abs(value) > (OVER_RANGE if one.unit == "ohm" else 1.0) * one.range
        ):
            return Reading(value=None, unit=one.unit, beyond=one.range, raw="+9.9E+37")
        uncertainty = of_reading(row, value, spread=noise, count=count, nplc=1, ambient_C=23.0, calibrated_at_C=23.0)
        return Reading(value=value, unit=one.unit, spread=noise, count=count, uncertainty=uncertainty, nplc=1)

    def _where(self, one: Measurement) -> tuple[str, str, Sequence[Row]]:
        accuracy = self._setup.bench.meter.accuracy
        return {
            Measurand.CURRENT: ("amperes", "supply", self._setup.bench.supply.accuracy.current),
            Measurand.RESISTANCE: ("ohms", "meter", accuracy.ohms),
            Measurand.DIODE: ("diode", "meter", accuracy.diode),
            Measurand.VOLTAGE: ("volts", "meter", accuracy.volts_dc),
        }[one.measurand]

    def _derive(self, one: Measurement) -> None:
        lines = [
            line for line in self._lines if line.measurement.phase is Phase.LOAD and line.measurement.point == one.point
        ]
        readings, amperes = [line.reading for line in lines], [line.measurement.load_A or 0.0 for line in lines]
        accuracy, currents = self._setup.bench.meter.accuracy, self._setup.bench.load.accuracy.current
        load = row_for(currents, pick_range(currents, max(amperes))) if max(amperes) else None
        common = shared(
            row_for(accuracy.volts_dc, lines[0].measurement.range), load, ambient_C=23.0, calibrated_at_C=23.0
        )
        if one.measurand is Measurand.REGULATION:
            nominal = float(self._setup.limits.rails[one.point].nominal)
            reading = regulation(
                readings[0], readings[-1], nominal, currents_A=(amperes[0], amperes[-1]), shared=common
            )
        else:
            reading = output_resistance(readings, amperes, shared=common)
        self._enter(one, reading)

    def _enter(self, one: Measurement, reading: Reading) -> Line:
        judgement = None if one.limit is None else judge(reading, one.limit, self._setup.limits.decision.rule)
        line = Line(
            number=len(self._lines) + 1, time=NOW, elapsed_s=0.0, measurement=one, reading=reading, judgement=judgement
        )
        self._lines.append(line)
        return line


def _passed(line: Line) -> bool:
    return line.judgement is None or line.judgement.verdict is Verdict.PASS


def by_hand(desk: Desk, board: Board, plan: Plan, state: str) -> dict[str, float | None]:
    """What a person would read at every place of a board: unpowered, and in a state; by the table's column names."""
    points = {f"{row.plus}-{row.minus}": (row.plus, row.minus) for row in plan.cold}
    fixture = desk.setup.fixture
    points |= {name: (point.plus, point.minus) for name, point in fixture.points.items()}
    loads = {point.load: name for name, point in fixture.points.items() if point.load is not None}
    model = BenchModel(board.assembly, points, input_point(fixture), loads)
    values = desk.values([board])
    found: dict[str, float | None] = {}
    cold = [row for row in plan.cold if plan.columns[row.column].probe]
    volts = model.cold_all(values, [(f"{row.plus}-{row.minus}", row.current_A, row.compliance_V) for row in cold])
    for row, column in zip(cold, volts[:, 0] * np.array([row.per_volt for row in cold]), strict=True):
        found[plan.columns[row.column].name] = float(column) if column <= row.largest else None
    for one in plan.powered:
        if one.name == state:
            solution = model.powered(values, one.volts, one.limit_A, {})
            for probe in one.rows:
                if plan.columns[probe.column].probe:
                    found[plan.columns[probe.column].name] = float(solution.between(probe.plus, probe.minus)[0])
    return found
