"""Cold readings of a fixture's points, as the meter would take them: what they are with one cable or another.

Resistance and diode readings are solved with the meter's test current through the real circuit, for drawn boards, hosts
and cables between 18 and 28 C. "Over range" is a value with a meaning: the test current cannot flow.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Self

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import Assembly, BenchModel, Solution, draw_all, join, nominal_values, with_fault
from batchtest.files.bench import BenchFile, DiodeAccuracy, OhmsAccuracy
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile
from batchtest.files.fixture import FixtureFile
from batchtest.judging.accuracy import half_width
from batchtest.judging.uncertainty import of_reading
from batchtest.nouns import Measurand

Floats = NDArray[np.float64]

#: Boards, hosts and cables drawn for one expectation, and the temperatures they are spread over, C.
DRAWN = 48
TEMPERATURES_C = (18.0, 23.0, 28.0)
#: Over range is certain beyond this share of a range (common practice, no source), or of the compliance voltage.
OVER_RANGE, GIVES_UP = 1.2, 0.999


@dataclass(frozen=True, slots=True)
class ColdReading:
    """One way to read a point while nothing is powered: a row of the meter's ohms or diode table."""

    point: str
    row: OhmsAccuracy | DiodeAccuracy

    @property
    def measurand(self) -> Measurand:
        """Resistance, or diode drop."""
        return Measurand.DIODE if isinstance(self.row, DiodeAccuracy) else Measurand.RESISTANCE

    @property
    def unit(self) -> str:
        """Base unit of the value."""
        return "V" if self.measurand is Measurand.DIODE else "ohm"

    @property
    def range(self) -> float:
        """Full scale, base unit."""
        return float(self.row.range)

    @property
    def current_A(self) -> float:
        """Test current, A."""
        return float(self.row.current)

    @property
    def compliance_V(self) -> float:
        """Voltage at which the test current gives up, V."""
        return OVER_RANGE * self.range if isinstance(self.row, DiodeAccuracy) else float(self.row.compliance)

    @property
    def reach(self) -> float:
        """The largest value that it can show, base unit: full scale, or less where the test current gives up before."""
        return min(self.range, GIVES_UP * self.compliance_V * self.per_volt)

    @property
    def per_volt(self) -> float:
        """What the reading shows for one volt at the point: 1 for a diode, 1 / test current for a resistance."""
        return 1.0 if self.measurand is Measurand.DIODE else 1.0 / self.current_A


@dataclass(frozen=True, slots=True)
class Expected:
    """What a reading is over all drawn boards: mean and standard deviation, base unit; `None` is over range for all.

    `certain` is false where some are over range and others are not: such a reading says nothing.
    """

    value: float | None
    sigma: float = 0.0
    certain: bool = True


class ColdBench:
    """Meter and fixture: which cold readings there are, and how far each may be off."""

    def __init__(self, bench: BenchFile, fixture: FixtureFile) -> None:
        self._meter, self.fixture = bench.meter, fixture
        self._ambient_C = float(bench.ambient if bench.ambient is not None else bench.meter.calibrated_at)

    def readings(self, point: str) -> Iterator[ColdReading]:
        """Every way to read a point: each range of ohms, rising, then each diode row."""
        yield from (ColdReading(point, row) for row in self._meter.accuracy.ohms)
        yield from (ColdReading(point, row) for row in self._meter.accuracy.diode)

    def half_width(self, reading: ColdReading, value: float) -> float:
        """How far the meter may be off at a value, either side, base unit."""
        return half_width(reading.row, value, self._ambient_C, float(self._meter.calibrated_at))

    def instrument_U(self, reading: ColdReading, value: float) -> float:
        """Expanded uncertainty of the instrument alone, k = 2, base unit."""
        return of_reading(
            reading.row,
            value,
            spread=float(reading.row.noise),
            count=self._meter.readings,
            nplc=float(self._meter.integration),
            ambient_C=self._ambient_C,
            calibrated_at_C=float(self._meter.calibrated_at),
        )

    def contact(self, reading: ColdReading) -> float:
        """What two needles that just pass their contact check may add to a reading, base unit."""
        return float(self.fixture.contact_limit) * (self.current_drop(reading))

    @staticmethod
    def current_drop(reading: ColdReading) -> float:
        """What one ohm in the leads adds to a reading, base unit."""
        return reading.current_A * reading.per_volt


@dataclass(slots=True)
class ColdCircuit:
    """Host, one cable and a board as one circuit, with one row of part values and one temperature for each sample.

    `near` is another circuit that differs in little, with one sample: what it settles at is where the solver starts.
    """

    model: BenchModel
    values: Floats
    temperature_C: Floats
    near: ColdCircuit | None = None
    _volts: dict[tuple[str, float, float], Floats] = field(default_factory=dict)
    _settled: dict[tuple[str, float, float], Solution] = field(default_factory=dict)

    @classmethod
    def drawn(cls, assembly: Assembly, fixture: FixtureFile, count: int = DRAWN) -> ColdCircuit:
        """Parts of host, cable and board drawn anew for each sample, at temperatures from 18 to 28 C."""
        temperatures = np.resize(np.array(TEMPERATURES_C), count)
        return cls(BenchModel.of(assembly, fixture), draw_all(assembly, count), temperatures)

    @classmethod
    def nominal(cls, assembly: Assembly, fixture: FixtureFile, near: ColdCircuit | None = None) -> ColdCircuit:
        """One sample with nominal parts at 23 C."""
        return cls(BenchModel.of(assembly, fixture), nominal_values(assembly), np.array([TEMPERATURES_C[1]]), near)

    def volts(self, reading: ColdReading) -> Floats:
        """Voltage at the point under the reading's test current, V, (samples,)."""
        key = _key(reading)
        if key not in self._volts:
            self._volts[key] = self._solved(key).between(*self.model.points[reading.point])
        return self._volts[key]

    def _solved(self, key: tuple[str, float, float]) -> Solution:
        if key not in self._settled:
            start = None if self.near is None else self.near._solved(key)
            self._settled[key] = self.model.cold(self.values, *key, start, temperature_C=self.temperature_C)
        return self._settled[key]

    def solve(self, readings: Iterable[ColdReading]) -> Self:
        """Solve what will be asked for, all at once: much faster than one by one."""
        keys = dict.fromkeys(_key(reading) for reading in readings)
        rows = [key for key in keys if key not in self._volts]
        if rows:
            found = self.model.cold_all(self.values, rows, self.temperature_C)
            self._volts |= dict(zip(rows, found, strict=True))
        return self

    def expected(self, reading: ColdReading) -> Expected:
        """What the meter would show."""
        volts = self.volts(reading)
        shown = volts * reading.per_volt
        over = (volts >= GIVES_UP * reading.compliance_V) | (shown > OVER_RANGE * reading.range)
        if over.all():
            return Expected(None)
        spread = float(shown.std(ddof=1)) if len(shown) > 1 else 0.0
        return Expected(float(shown.mean()), spread, certain=bool((shown <= reading.reach).all()))


def _key(reading: ColdReading) -> tuple[str, float, float]:
    return reading.point, reading.current_A, reading.compliance_V


@dataclass(frozen=True)
class Harness:
    """A board in a fixture (or in a host that is reached like it), by whichever cable.

    Circuits are joined and solved when they are first asked for, and kept; `drawn` boards make an expectation.
    """

    host: CircuitFile
    board: CircuitFile
    cold: ColdBench
    drawn: int = DRAWN
    _circuits: dict[str, ColdCircuit] = field(default_factory=dict, repr=False)

    @cached_property
    def points(self) -> Sequence[str]:
        """Names of the fixture's points."""
        return tuple(self.cold.fixture.points)

    def circuit(self, name: str, cable: CableFile) -> ColdCircuit:
        """The joined circuit with a cable of the library, with drawn parts."""
        if name not in self._circuits:
            assembly = join(self.host, cable, self.board)
            self._circuits[name] = ColdCircuit.drawn(assembly, self.cold.fixture, self.drawn)
        return self._circuits[name]

    def once(self, cable: CableFile, fault: str = "", near: ColdCircuit | None = None) -> ColdCircuit:
        """The joined circuit with any cable, one nominal board and a fault such as "board.R1 open"; not kept.

        `near` is one without the fault, which saves most of the solving.
        """
        assembly = join(self.host, cable, self.board)
        return ColdCircuit.nominal(with_fault(assembly, fault) if fault else assembly, self.cold.fixture, near)

    def every(self) -> list[ColdReading]:
        """Every way to read every point."""
        return [reading for point in self.points for reading in self.cold.readings(point)]

    def solve(self, cables: Mapping[str, CableFile], readings: Sequence[ColdReading]) -> None:
        """Solve readings with each of some cables, all at once."""
        for name, cable in cables.items():
            self.circuit(name, cable).solve(readings)

    def expected(self, cables: Mapping[str, CableFile], reading: ColdReading) -> dict[str, Expected]:
        """What a reading is with each of some cables."""
        return {name: self.circuit(name, cable).expected(reading) for name, cable in cables.items()}
