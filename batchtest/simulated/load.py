"""The simulated electronic load: channels in constant current, each with a minimum voltage and protections."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from random import Random

from batchtest.files.bench import BenchFile, Simulation
from batchtest.simulated.imperfections import draw_error, row_for_value
from batchtest.simulated.on_bench import OUTPUT_S, READBACK_S, SETTING_S, BenchInstrument
from batchtest.simulated.outputs import LoadChannel
from batchtest.simulated.scpi import ChannelList, Choice, Numeric, Parameter, ScpiError, boolean
from batchtest.simulated.wired import Wired

#: Bits of the questionable register of this kind of load.
VOLTAGE_FAULT = 1 << 0
OVER_CURRENT, OVER_POWER = 1 << 1, 1 << 3
UNREGULATED, REVERSE_VOLTAGE, SHUT_DOWN = 1 << 10, 1 << 11, 1 << 13
_TRIP_BITS = {"current": OVER_CURRENT, "power": OVER_POWER, "under-voltage": VOLTAGE_FAULT}
#: A channel sees a reverse voltage below this, V.
_REVERSE_V = -0.1
#: The highest power limit that can be set, W.
_LARGEST_W = 300.0

Channels = tuple[int, ...]


class SimulatedLoad(BenchInstrument):
    """`FUNC`, `CURR`, `INP`, `MEAS`, `CURR:PROT` and `POW:PROT`, each with its channel list `(@n)`."""

    def __init__(self, bench: BenchFile, simulation: Simulation, rack: Wired) -> None:
        super().__init__("load", bench.load, rack)
        self._rows = bench.load.accuracy.current
        self._seed = simulation.seed
        self._random = Random(f"{simulation.seed}/load noise")
        self._largest_A = float(self._rows[-1].range)
        self._channels = ChannelList(frozenset(rack.loads))
        self._add_setting("[SOURCE:]CURRENT[:LEVEL][:IMMEDIATE][:AMPLITUDE]", self._set_amperes, "set_A", self._amperes)
        self._add_setting("[SOURCE:]CURRENT:PROTECTION[:LEVEL]", self._set_trip_A, "trip_A", self._amperes)
        self._add_setting(
            "[SOURCE:]POWER:PROTECTION[:LEVEL]", self._set_trip_W, "trip_W", Numeric(0, _LARGEST_W, unit="W")
        )
        self._add_safeguards()
        self._add_inputs()
        self.reset()

    @property
    def inputs_on(self) -> tuple[int, ...]:
        """Channels whose inputs are on: the truth, not an answer on the wire."""
        return tuple(channel for channel, load in self.rack.loads.items() if load.on)

    def reset(self) -> None:
        """All inputs off, all currents zero, protections at their highest."""
        for load in self.rack.loads.values():
            load.on, load.set_A, load.true_A, load.tripped = False, 0.0, 0.0, ""
            load.trip_A, load.trip_W = 1.1 * self._largest_A, _LARGEST_W
            load.under_V, load.timer_s, load.function, load.sense = 0.0, 0.0, "CURR", False
        self.change(OUTPUT_S)

    def refresh(self) -> None:
        """What any of the channels has to complain of."""
        condition = 0
        for channel, load in self.rack.loads.items():
            condition |= _TRIP_BITS.get(load.tripped, 0)
            condition |= SHUT_DOWN if load.tripped else 0
            condition |= UNREGULATED if self.rack.load_unregulated(channel) else 0
            condition |= REVERSE_VOLTAGE if self.rack.load_volts(channel, self.moment) < _REVERSE_V else 0
        self.status.questionable.see(condition)

    @property
    def _amperes(self) -> Numeric:
        return Numeric(0.0, self._largest_A, default=0.0, unit="A")

    def _add_setting(self, header: str, change: Callable[..., None], name: str, parameter: Parameter) -> None:
        self.add(header, change, parameter, self._channels)
        self.add(f"{header}?", lambda channels: [getattr(load, name) for load in self._of(channels)], self._channels)

    def _add_safeguards(self) -> None:
        """Under-voltage stop, load-on timer, slew rates, and where the voltage is sensed."""
        for header, name, parameter in (
            ("[SOURCE:]VOLTAGE:UNDER", "under_V", Numeric(0, 60, unit="V")),
            ("INPUT:TIMER", "timer_s", Numeric(0, 60000, unit="S")),
            ("[SOURCE:]CURRENT:SLEW[:POSITIVE]", "rising_A_s", Numeric(1, 1e7)),
            ("[SOURCE:]CURRENT:SLEW:NEGATIVE", "falling_A_s", Numeric(1, 1e7)),
            ("INPUT:SENSE", "sense", boolean),
        ):
            self._add_setting(header, partial(self._keep, name), name, parameter)

    def _keep(self, name: str, value: float | bool, channels: Channels) -> None:
        for load in self._of(channels):
            setattr(load, name, value)
        self.change(SETTING_S)

    def _add_inputs(self) -> None:
        one = self._channels
        functions = Choice("CURRENT", "VOLTAGE", "RESISTANCE", "POWER")
        self.add("[SOURCE:]FUNCTION", self._set_function, functions, one)
        self.add("[SOURCE:]FUNCTION?", lambda channels: [load.function for load in self._of(channels)], one)
        self.add("INPUT[:STATE]", self._switch, boolean, one)
        self.add("INPUT[:STATE]?", lambda channels: [load.on for load in self._of(channels)], one)
        self.add("INPUT:PROTECTION:CLEAR", self._clear_protection, one)
        self.add("MEASURE[:SCALAR]:VOLTAGE[:DC]?", self._measure_volts, one)
        self.add("MEASURE[:SCALAR]:CURRENT[:DC]?", self._measure_amperes, one)

    def _of(self, channels: Channels) -> list[LoadChannel]:
        return [self.rack.loads[channel] for channel in channels]

    def _set_function(self, function: str, channels: Channels) -> None:
        """Another function than the one before switches the input off; only constant current draws anything here."""
        for load in self._of(channels):
            load.on = load.on and load.function == function
            load.function = function
        self.change(SETTING_S)

    def _set_amperes(self, amperes: float, channels: Channels) -> None:
        for channel in channels:
            load = self.rack.loads[channel]
            error = draw_error(row_for_value(self._rows, amperes), self._seed, f"load {channel}", "set")
            load.set_A, load.true_A = amperes, max(0.0, error.applied(amperes))
        self.change(OUTPUT_S)

    def _set_trip_A(self, amperes: float, channels: Channels) -> None:
        for load in self._of(channels):
            load.trip_A = amperes
        self.change(SETTING_S)

    def _set_trip_W(self, watts: float, channels: Channels) -> None:
        for load in self._of(channels):
            load.trip_W = watts
        self.change(SETTING_S)

    def _switch(self, on: bool, channels: Channels) -> None:
        if on and any(load.tripped for load in self._of(channels)):
            raise ScpiError(-221, "a protection has tripped; clear it first")
        for load in self._of(channels):
            if on and not load.on:
                load.on_since_s = self.moment
            load.on = on
        self.change(OUTPUT_S)

    def _clear_protection(self, channels: Channels) -> None:
        for load in self._of(channels):
            load.tripped = ""
        self.change(SETTING_S)

    def _measure_volts(self, channels: Channels) -> list[float]:
        self.spend(READBACK_S)
        return [self.rack.load_volts(channel, self.moment) for channel in channels]

    def _measure_amperes(self, channels: Channels) -> list[float]:
        self.spend(READBACK_S)
        return [self._read_back(channel, self.rack.load_amperes(channel, self.moment)) for channel in channels]

    def _read_back(self, channel: int, amperes: float) -> float:
        row = row_for_value(self._rows, amperes)
        error = draw_error(row, self._seed, f"load {channel}", "read-back")
        return error.applied(amperes) + self._random.gauss(0.0, float(row.noise))
