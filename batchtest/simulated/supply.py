"""The simulated bench supply: constant voltage until its current limit, over-voltage protection, read-back."""

from __future__ import annotations

from random import Random

from batchtest.files.bench import BenchFile, Simulation
from batchtest.judging.accuracy import Row
from batchtest.simulated.imperfections import draw_error, row_for_value
from batchtest.simulated.on_bench import OUTPUT_S, READBACK_S, SETTING_S, BenchInstrument
from batchtest.simulated.scpi import Numeric, Parameter, ScpiError, boolean
from batchtest.simulated.wired import Wired

#: Bits of the status registers of this kind of supply.
OVER_VOLTAGE, OVER_CURRENT, SUMMARY = 1 << 0, 1 << 1, 1 << 14
CONSTANT_VOLTAGE, CONSTANT_CURRENT = 1 << 8, 1 << 10
#: What the output can be set to beyond the largest range of its read-back, as a share of it.
_HEADROOM = 1.1


class SimulatedSupply(BenchInstrument):
    """`VOLT`, `CURR`, `OUTP`, `VOLT:PROT`, `MEAS:VOLT?`, `MEAS:CURR?`, `CURR:PROT`, `OUTP:WATC`, and registers."""

    def __init__(self, bench: BenchFile, simulation: Simulation, rack: Wired) -> None:
        super().__init__("supply", bench.supply, rack)
        self._volts_rows: tuple[Row, ...] = bench.supply.accuracy.voltage
        self._amperes_rows: tuple[Row, ...] = bench.supply.accuracy.current
        self._seed = simulation.seed
        self._random = Random(f"{simulation.seed}/supply noise")
        self._largest_V = _HEADROOM * float(self._volts_rows[-1].range)
        self._largest_A = _HEADROOM * float(self._amperes_rows[-1].range)
        self._add_settings()
        self.add("OUTPUT[:STATE]", self._switch, boolean)
        self.add("OUTPUT[:STATE]?", lambda: self.rack.supply.on)
        self.add("OUTPUT:PROTECTION:CLEAR", self._clear_protection)
        self.add("MEASURE[:SCALAR]:VOLTAGE[:DC]?", self._measure_volts)
        self.add("MEASURE[:SCALAR]:CURRENT[:DC]?", self._measure_amperes)
        self.reset()

    @property
    def output_on(self) -> bool:
        """Whether the output is on: the truth, not an answer on the wire."""
        return self.rack.supply.on

    def reset(self) -> None:
        """Output off, everything at zero, protection at its highest."""
        state = self.rack.supply
        state.on, state.volts, state.limit_A, state.trip_V, state.tripped = False, 0.0, 0.0, self._largest_V, False
        state.trip_A, state.watchdog_s, state.sense = self._largest_A, 0.0, False
        self.change(OUTPUT_S)

    def refresh(self) -> None:
        """CV or CC, and a tripped over-voltage protection."""
        state, limiting = self.rack.supply, self.rack.supply_limiting(self.moment)
        regulating = CONSTANT_CURRENT if limiting else CONSTANT_VOLTAGE
        self.status.operation.see(regulating if state.on else 0)
        bit = {"voltage": OVER_VOLTAGE, "current": OVER_CURRENT, "silence": SUMMARY}[state.trip]
        self.status.questionable.see(bit if state.tripped else 0)

    def _add_settings(self) -> None:
        volts = Numeric(0.0, self._largest_V, default=0.0, unit="V")
        amperes = Numeric(0.0, self._largest_A, default=0.0, unit="A")
        state = self.rack.supply
        self.add("[SOURCE:]VOLTAGE[:LEVEL][:IMMEDIATE][:AMPLITUDE]", self._set_volts, volts)
        self.add("[SOURCE:]VOLTAGE[:LEVEL][:IMMEDIATE][:AMPLITUDE]?", lambda: state.volts)
        self.add("[SOURCE:]CURRENT[:LEVEL][:IMMEDIATE][:AMPLITUDE]", self._set_amperes, amperes)
        self.add("[SOURCE:]CURRENT[:LEVEL][:IMMEDIATE][:AMPLITUDE]?", lambda: state.limit_A)
        self.add("[SOURCE:]VOLTAGE:PROTECTION[:LEVEL]", self._set_protection, volts)
        self.add("[SOURCE:]VOLTAGE:PROTECTION[:LEVEL]?", lambda: state.trip_V)
        self._add_kept("[SOURCE:]CURRENT:PROTECTION[:LEVEL]", "trip_A", amperes)
        self._add_kept("OUTPUT:WATCHDOG", "watchdog_s", Numeric(0, 3600, unit="S"))
        self._add_kept("VOLTAGE:SENSE", "sense", boolean)

    def _add_kept(self, header: str, name: str, parameter: Parameter) -> None:
        def keep(value: float | bool) -> None:
            setattr(self.rack.supply, name, value)
            self.change(SETTING_S)

        self.add(header, keep, parameter)
        self.add(f"{header}?", lambda: getattr(self.rack.supply, name))

    def _set_volts(self, volts: float) -> None:
        self.rack.supply.volts = volts
        self.change(OUTPUT_S)

    def _set_amperes(self, amperes: float) -> None:
        self.rack.supply.limit_A = amperes
        self.change(OUTPUT_S)

    def _set_protection(self, volts: float) -> None:
        self.rack.supply.trip_V = volts
        self.change(SETTING_S)

    def _switch(self, on: bool) -> None:
        if on and self.rack.supply.tripped:
            raise ScpiError(-221, "a protection has tripped; clear it first")
        self.rack.supply.on = on
        self.change(OUTPUT_S)

    def _clear_protection(self) -> None:
        self.rack.supply.tripped = False
        self.change(SETTING_S)

    def _measure_volts(self) -> float:
        return self._read_back(self.rack.supply_volts(self.moment), self._volts_rows, "volts")

    def _measure_amperes(self) -> float:
        return self._read_back(self.rack.supply_amperes(self.moment), self._amperes_rows, "amperes")

    def _read_back(self, value: float, rows: tuple[Row, ...], function: str) -> float:
        row = row_for_value(rows, value)
        error = draw_error(row, self._seed, "supply", function)
        self.spend(READBACK_S)
        return error.applied(value) + self._random.gauss(0.0, float(row.noise))
