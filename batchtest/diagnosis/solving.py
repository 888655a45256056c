"""One fault solved: every reading with nominal parts, its slope by every part value, and what is not linear in them.

Readings are linearised in standard normals z: part values by their tolerance, temperature, what supply and load are
set to. Each slope is one more sample, a little off the nominal one, for which one step of the solver is enough; a few
samples with everything drawn at once then say how far the reading is from its line. A cold reading that a fault does
not move keeps the good board's slopes.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import BenchModel, Solution
from batchtest.circuits.assembly import Assembly
from batchtest.diagnosis.faults import Fault
from batchtest.diagnosis.readings import ColdRow, Plan, PoweredState
from batchtest.errors import NoOperatingPoint
from batchtest.files.fixture import input_point
from batchtest.files.library import Setup
from batchtest.judging.accuracy import half_width, pick_range, row_for
from batchtest.judging.uncertainty import rectangular

Floats = NDArray[np.float64]

#: Parts lie within their tolerance, which is three of their standard deviations (as `circuits.draw_values` draws them).
SIGMAS_IN_TOLERANCE = 3.0
#: Junctions, C: a workshop from 18 to 28 C, and what they warm by themselves; standard deviation (common practice, no
#: source).
JUNCTION_C, JUNCTION_SD_C = 25.0, 3.0
#: Samples with all parts drawn at once.
DRAWN = 8
#: How far a knob is turned for a slope, in standard deviations: junctions and breakdowns are straight that far.
TURN = 0.003
#: A cold reading that a fault moves by less than this share of a good board's standard deviation has its slopes.
UNMOVED = 0.05
#: At this share of its limit a supply is in it.
_LIMITED = 0.999


@dataclass(frozen=True, slots=True)
class Knobs:
    """What is not exactly known: columns of part values by (part, parameter), then temperature, supply, loads.

    `z` are the samples: nominal, each knob turned a little, then all drawn.
    """

    parts: tuple[tuple[str, str], ...]
    loads: tuple[int, ...]
    z: Floats

    @classmethod
    def of(cls, good: Assembly, loads: Sequence[int]) -> Knobs:
        """The knobs of a good board; a fault turns the same ones, as far as it has them."""
        columns = good.parameters
        parts = tuple(
            (part, name)
            for part, name, tolerance in zip(columns.parts, columns.names, columns.tolerance, strict=True)
            if tolerance > 0
        )
        count = len(parts) + 2 + len(loads)
        drawn = np.clip(np.random.default_rng(8).normal(size=(DRAWN, count)), -SIGMAS_IN_TOLERANCE, SIGMAS_IN_TOLERANCE)
        return cls(parts, tuple(loads), np.concatenate([np.zeros((1, count)), TURN * np.eye(count), drawn]))

    @property
    def count(self) -> int:
        """How many there are."""
        return int(self.z.shape[1])

    @property
    def turned(self) -> NDArray[np.bool_]:
        """(samples,) those with one knob turned a little."""
        samples = np.arange(len(self.z))
        return (samples > 0) & (samples <= self.count)

    def values(self, fault: Fault) -> Floats:
        """Part values of every sample, (samples, columns)."""
        columns = fault.assembly.parameters
        places = {key: index for index, key in enumerate(zip(columns.parts, columns.names, strict=True))}
        values = np.tile(np.array(columns.nominal), (len(self.z), 1))
        for index, factor in fault.scales.items():
            values[:, index] *= factor
        for knob, key in enumerate(self.parts):
            if key in places:
                column = places[key]
                values[:, column] *= 1 + columns.tolerance[column] / SIGMAS_IN_TOLERANCE * self.z[:, knob]
        return values

    @property
    def temperature_C(self) -> Floats:
        """(samples,) of all junctions."""
        return JUNCTION_C + JUNCTION_SD_C * self.z[:, len(self.parts)]

    @property
    def supply(self) -> Floats:
        """(samples,) standard deviations by which the supply is off what it is set to."""
        return self.z[:, len(self.parts) + 1]

    def load(self, channel: int) -> Floats:
        """(samples,) standard deviations by which a load channel is off what it is set to."""
        return self.z[:, len(self.parts) + 2 + self.loads.index(channel)]


@dataclass(slots=True)
class Solved:
    """Distribution of every column with one fault: as in `FaultTable`, without the hypotheses' axis.

    Not-a-number is no value: over range for all, or no operating point (then `over` is not-a-number too). `nominal` is
    what nominal parts read.
    """

    nominal: Floats
    mean: Floats
    rough: Floats
    spread: Floats
    over: Floats
    limiting: Floats

    @classmethod
    def empty(cls, columns: int, knobs: int, states: int) -> Solved:
        """Nothing known yet."""
        nothing = np.full(columns, np.nan)
        nominal, mean, rough, over = (nothing.copy() for _ in range(4))
        return cls(nominal, mean, rough, np.zeros((columns, knobs)), over, np.zeros(states))

    def like(self, good: Solved, column: int, nominal: float) -> None:
        """Take over a column from the good board, moved to what nominal parts read."""
        self.nominal[column] = nominal
        self.mean[column] = good.mean[column] + (nominal - good.nominal[column])
        self.rough[column], self.over[column] = good.rough[column], good.over[column]
        self.spread[column] = good.spread[column]

    def derive(self, column: int, weights: Mapping[int, float]) -> None:
        """A column that is a weighted sum of others."""
        places, shares = list(weights), np.array(list(weights.values()))
        self.nominal[column], self.mean[column] = shares @ self.nominal[places], shares @ self.mean[places]
        self.rough[column] = np.sqrt(shares**2 @ self.rough[places] ** 2)
        self.spread[column], self.over[column] = shares @ self.spread[places], self.over[places].max()

    def put(self, column: int, shown: Floats, over: NDArray[np.bool_], knobs: Knobs) -> None:
        """Take over a column from its samples; a sample without operating point is not-a-number."""
        count = knobs.count
        known = np.isfinite(shown) & ~over
        random = slice(count + 1, None)
        chances = np.concatenate([over[:1], over[random]])[np.isfinite(np.concatenate([shown[:1], shown[random]]))]
        self.over[column] = chances.mean() if chances.size else np.nan
        if known[0]:
            slopes = np.where(known[1 : count + 1], shown[1 : count + 1] - shown[0], 0.0) / TURN
            self.spread[column], self.nominal[column] = slopes, shown[0]
            rest = (shown - shown[0] - knobs.z @ slopes)[random][known[random]]
        else:
            rest = shown[random][known[random]] - (shown[0] if known[0] else 0.0)
        if known[0] or rest.size:
            self.mean[column] = (shown[0] if known[0] else 0.0) + (rest.mean() if rest.size else 0.0)
            self.rough[column] = rest.std() if rest.size else 0.0


class Solver:
    """Solves faults of one setup, each with the good board's answer at hand."""

    def __init__(self, setup: Setup, plan: Plan, good: Fault) -> None:
        self._setup, self._plan = setup, plan
        self._loads = {point.load: name for name, point in setup.fixture.points.items() if point.load is not None}
        self._points = {name: (point.plus, point.minus) for name, point in setup.fixture.points.items()}
        self._points |= {f"{row.plus}-{row.minus}": (row.plus, row.minus) for row in plan.cold}
        self.knobs = Knobs.of(good.assembly, tuple(self._loads))
        self.good = self._solve(good, None)

    def solve(self, fault: Fault) -> Solved:
        """Every column with one fault."""
        return self._solve(fault, self.good)

    def _solve(self, fault: Fault, good: Solved | None) -> Solved:
        model = BenchModel(fault.assembly, self._points, input_point(self._setup.fixture), self._loads)
        values = self.knobs.values(fault)
        found = Solved.empty(len(self._plan.columns), self.knobs.count, len(self._plan.powered))
        self._cold(model, values, found, good)
        before: Solution | None = None
        for index, state in enumerate(self._plan.powered):
            before = self._powered(model, values, state, found, index, before)
        for row in self._plan.derived:
            found.derive(row.column, row.weights)
        return found

    def _cold(self, model: BenchModel, values: Floats, found: Solved, good: Solved | None) -> None:
        """The readings of the unpowered board: those that the fault moves with all samples."""
        rows = self._plan.cold
        nominal = self._cold_volts(model, values[:1], rows, self.knobs.temperature_C[:1])[:, 0]
        moved = []
        for row, volts in zip(rows, nominal, strict=True):
            shown = volts * row.per_volt
            if good is None or not _unmoved(good, row, float(shown)):
                moved.append(row)
                continue
            found.like(good, row.column, float(shown))
        volts = self._cold_volts(model, values, moved, self.knobs.temperature_C)
        for row, samples in zip(moved, volts, strict=True):
            shown = samples * row.per_volt
            found.put(row.column, shown, shown > row.largest, self.knobs)

    def _cold_volts(self, model: BenchModel, values: Floats, rows: Sequence[ColdRow], each_C: Floats) -> Floats:
        """(rows, samples) voltage under the test current, V; not-a-number where there is no operating point."""
        asked = [(f"{row.plus}-{row.minus}", row.current_A, row.compliance_V) for row in rows]
        if not asked:
            return np.empty((0, len(values)))
        try:
            return model.cold_all(values, asked, each_C, self.knobs.turned if len(values) > 1 else None)
        except NoOperatingPoint:
            found = np.full((len(rows), len(values)), np.nan)
            for place, one in enumerate(asked):
                for sample in range(len(values)):
                    found[place, sample] = _alone(model, values, one, each_C, sample)
            return found

    def _powered(
        self,
        model: BenchModel,
        values: Floats,
        state: PoweredState,
        found: Solved,
        index: int,
        before: Solution | None,
    ) -> Solution | None:
        """One state of the supply and the loads; returns where the next may begin."""
        nominal = self._solution(model, values, state, before, slice(0, 1))
        parts = [nominal, *self._around(model, values, state, nominal)]
        amperes = _joined(parts, lambda one: one.source_A("supply"))
        limited = amperes >= _LIMITED * state.limit_A
        chances = np.concatenate([limited[:1], limited[self.knobs.count + 1 :]])
        found.limiting[index] = chances.mean()
        for row in state.rows:
            shown = _joined(parts, partial(_between, plus=row.plus, minus=row.minus)) if row.plus else amperes
            found.put(row.column, shown, np.abs(shown) > row.largest, self.knobs)
        return nominal

    def _around(
        self, model: BenchModel, values: Floats, state: PoweredState, nominal: Solution | None
    ) -> list[Solution | None]:
        """All samples but the nominal one; those without operating point are missing."""
        turned, drawn = slice(1, self.knobs.count + 1), slice(self.knobs.count + 1, None)
        if nominal is None:
            return [self._solution(model, values, state, None, slice(row, row + 1)) for row in range(1, len(values))]
        volts, loads, each_C = self._settings(state, turned)
        near = model.powered_near(nominal, values[turned], volts, state.limit_A, loads, temperature_C=each_C)
        far = self._solution(model, values, state, nominal, drawn)
        rest = range(len(values))[drawn]
        if far is not None:
            return [near, far]
        return [
            near,
            *(self._solution(model, values, state, None, slice(row, row + 1)) for row in rest),
        ]

    def _solution(
        self, model: BenchModel, values: Floats, state: PoweredState, start: Solution | None, rows: slice
    ) -> Solution | None:
        volts, loads, each_C = self._settings(state, rows)
        for begin in (start, None) if start is not None else (None,):
            try:
                return model.powered(values[rows], volts, state.limit_A, loads, begin, temperature_C=each_C)
            except NoOperatingPoint:
                continue
        return None

    def _settings(self, state: PoweredState, rows: slice) -> tuple[Floats, Mapping[int, Floats], Floats]:
        """What supply (V) and loads (A) truly do in some samples, and their temperature (C)."""
        bench = self._setup.bench
        ambient_C = float(bench.ambient or bench.meter.calibrated_at)
        calibrated_C = float(bench.meter.calibrated_at)

        def sigma(rows: Sequence, value: float) -> float:  # type: ignore[type-arg]
            row = row_for(rows, pick_range(rows, value))
            return rectangular(half_width(row, value, ambient_C, calibrated_C))

        volts = state.volts + sigma(bench.supply.accuracy.voltage, state.volts) * self.knobs.supply
        drawn = {
            channel: np.maximum(amperes + sigma(bench.load.accuracy.current, amperes) * self.knobs.load(channel), 0.0)
            if amperes
            else np.zeros(len(volts))
            for channel, amperes in state.loads.items()
        }
        chosen = {channel: amperes[rows] for channel, amperes in drawn.items()}
        return volts[rows], chosen, self.knobs.temperature_C[rows]


def _between(solution: Solution, plus: str, minus: str) -> Floats:
    return solution.between(plus, minus)


def _joined(parts: Sequence[Solution | None], of: Callable[[Solution], Floats]) -> Floats:
    """A quantity of solutions one after another; one sample of not-a-number for each that is missing."""
    return np.concatenate([np.full(1, np.nan) if one is None else of(one) for one in parts])


def _unmoved(good: Solved, row: ColdRow, shown: float) -> bool:
    column = row.column
    if good.over[column] == 1.0:
        return shown > row.largest
    if good.over[column] != 0.0 or shown > row.largest:
        return False
    sigma = float(np.hypot(np.linalg.norm(good.spread[column]), good.rough[column]))
    return bool(abs(shown - good.mean[column]) < UNMOVED * sigma)


def _alone(model: BenchModel, values: Floats, asked: tuple[str, float, float], each_C: Floats, sample: int) -> float:
    try:
        rows = slice(sample, sample + 1)
        return float(model.cold_all(values[rows], [asked], each_C[rows])[0, 0])
    except NoOperatingPoint:
        return np.nan
