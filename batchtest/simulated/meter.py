"""The simulated multimeter: volts, ohms and diode function behind the scanner, integrating over line cycles."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from random import Random

from batchtest.files.bench import BenchFile, DiodeAccuracy, OhmsAccuracy, Simulation
from batchtest.judging.accuracy import Row
from batchtest.simulated.imperfections import Error, Hum, draw_error, noise_rms, rounded, row_for_value
from batchtest.simulated.on_bench import SETTING_S, BenchInstrument
from batchtest.simulated.scpi import Choice, Integer, Numeric
from batchtest.simulated.wired import Wired
from batchtest.simulated.wiring import OPEN_NOISE_V, Input, Wiring

#: Beyond this share of its range a function is over range (common practice, no source).
OVER_RANGE = 1.2
#: Time beside the integration: once for a reading's start, and for every raw value, s (common practice, no source).
START_S, VALUE_S = 0.002, 0.0005
#: Integration and count after a change of function.
DEFAULT_NPLC, DEFAULT_COUNT = 10.0, 1
_WORDS = {"volts": '"VOLT"', "ohms": '"RES"', "diode": '"DIOD"'}
_SHORTEST_NPLC, _LONGEST_NPLC, _MOST = 0.02, 100.0, 1000


@dataclass(frozen=True, slots=True)
class Function:
    """What is set: a function ("volts", "ohms", "diode"), its row, and whether the range follows the value."""

    name: str
    row: Row
    automatic: bool = False


class SimulatedMeter(BenchInstrument):
    """`CONF:VOLT:DC`, `CONF:RES`, `CONF:DIOD`, `SENS:...:NPLC`, `SAMP:COUN`, `TRIG:SOUR IMM`, `READ?`."""

    def __init__(self, bench: BenchFile, simulation: Simulation, rack: Wired) -> None:
        super().__init__("meter", bench.meter, rack)
        self._accuracy = bench.meter.accuracy
        self._mains_Hz = float(bench.mains)
        self._seed = simulation.seed
        self._random = Random(f"{simulation.seed}/meter noise")
        self._wiring = Wiring(rack, Hum.drawn(float(simulation.hum), self._mains_Hz, simulation.seed))
        self._errors: dict[tuple[str, object], Error] = {}
        self._nplc = dict.fromkeys(("volts", "ohms", "diode"), DEFAULT_NPLC)
        self._count = DEFAULT_COUNT
        self._function = Function("volts", self._accuracy.volts_dc[-1], automatic=True)
        self._since_s = 0.0
        self._add_functions()
        self.add("SAMPLE:COUNT", self._set_count, Integer(1, _MOST, default=1))
        self.add("SAMPLE:COUNT?", lambda: self._count)
        self.add("TRIGGER:SOURCE", lambda _source: self.spend(SETTING_S), Choice("IMMEDIATE"))
        self.add("TRIGGER:SOURCE?", lambda: "IMM")
        self.add("READ?", self._read)
        self.add("[SENSE:]FUNCTION?", lambda: _WORDS[self._function.name])
        self.add("SYSTEM:LFREQUENCY?", lambda: self._mains_Hz)

    def reset(self) -> None:
        """Volts, range by itself, integration and count as after a change of function."""
        self._nplc = dict.fromkeys(self._nplc, DEFAULT_NPLC)
        self._configure(Function("volts", self._accuracy.volts_dc[-1], automatic=True))

    def _add_functions(self) -> None:
        volts: Sequence[Row] = self._accuracy.volts_dc
        for name, header, unit, rows in (
            ("volts", "VOLTAGE[:DC]", "V", volts),
            ("ohms", "RESISTANCE", "OHM", self._accuracy.ohms),
        ):
            largest = float(rows[-1].range)
            range_ = Numeric(0.0, largest, default=largest, unit=unit)
            self.add(f"CONFIGURE:{header}", self._configuring(name, rows), range_, optional=1)
            self.add(f"[SENSE:]{header}:RANGE?", lambda: float(self._function.row.range))
            self._add_nplc(name, header)
        if self._accuracy.diode:
            diode = self._accuracy.diode[-1]
            self.add("CONFIGURE:DIODE", lambda: self._configure(Function("diode", diode)))
            self._add_nplc("diode", "DIODE")

    def _configuring(self, name: str, rows: Sequence[Row]) -> Callable[..., None]:
        def configure(range_: float | None = None) -> None:
            row = rows[-1] if range_ is None else row_for_value(rows, range_)
            self._configure(Function(name, row, automatic=range_ is None))

        return configure

    def _add_nplc(self, name: str, header: str) -> None:
        cycles = Numeric(_SHORTEST_NPLC, _LONGEST_NPLC, default=DEFAULT_NPLC)
        self.add(f"[SENSE:]{header}:NPLC", lambda value: self._set_nplc(name, value), cycles)
        self.add(f"[SENSE:]{header}:NPLC?", lambda: self._nplc[name])

    def _configure(self, function: Function) -> None:
        self._function = function
        self._nplc[function.name] = DEFAULT_NPLC
        self._count = DEFAULT_COUNT
        self._since_s = self.moment
        self.spend(SETTING_S)

    def _set_nplc(self, name: str, cycles: float) -> None:
        self._nplc[name] = cycles
        self.spend(SETTING_S)

    def _set_count(self, count: int) -> None:
        self._count = count
        self.spend(SETTING_S)

    def _read(self) -> list[float]:
        self.spend(START_S)
        wired = self._wiring.at(self.moment, *self._source(), self._since_s)
        return [self._raw_value(wired) for _ in range(self._count)]

    def _source(self) -> tuple[float, float]:
        """Test current (A) of the function and the voltage at which it gives up (V); none in volts."""
        row = self._function.row
        if isinstance(row, OhmsAccuracy):
            return float(row.current), float(row.compliance)
        if isinstance(row, DiodeAccuracy):
            return float(row.current), OVER_RANGE * float(row.range)
        return 0.0, 0.0

    def _raw_value(self, wired: Input) -> float:
        begin = self.moment
        self.spend(self._nplc[self._function.name] / self._mains_Hz)
        end = self.moment
        self.spend(VALUE_S)
        volts = wired.mean(begin, end)
        if self._function.name == "volts":
            return self._shown(self._random.gauss(volts, OPEN_NOISE_V) if wired.open else volts, OVER_RANGE)
        if wired.gives_up():
            return math.inf
        if self._function.name == "diode":
            return self._shown(volts, 1.0)
        return self._shown(volts / self._source()[0], OVER_RANGE)

    def _shown(self, value: float, over: float) -> float:
        """What the display makes of a true value: errors, noise, resolution, over-range."""
        row = self._row_for(value)
        key = (self._function.name, row.range)
        if key not in self._errors:
            self._errors[key] = draw_error(row, self._seed, "meter", self._function.name)
        noise = self._random.gauss(0.0, noise_rms(row, self._nplc[self._function.name]))
        shown = self._errors[key].applied(value) + noise
        if abs(shown) > over * float(row.range):
            return math.copysign(math.inf, shown)
        return rounded(shown, float(row.range))

    def _row_for(self, value: float) -> Row:
        if not self._function.automatic:
            return self._function.row
        rows: Sequence[Row] = self._accuracy.ohms if self._function.name == "ohms" else self._accuracy.volts_dc
        return row_for_value(rows, value)
