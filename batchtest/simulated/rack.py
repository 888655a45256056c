"""The electrical state of the bench: who drives what, what is in the nest, and where every voltage is at a moment.

Instruments change `supply`, `loads` and the relays, and then call `apply`: the new operating point is solved, and the
voltages begin to move toward it from where they are. Nothing here is what an instrument reads; it is what is true.
"""

from __future__ import annotations

import threading
from collections.abc import Mapping
from random import Random
from typing import Literal

from batchtest.files.fixture import input_point
from batchtest.files.library import Setup
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Board, Operating
from batchtest.simulated.boards import Stock, simulation_of, truly_fitted
from batchtest.simulated.log import BenchLog, Kind
from batchtest.simulated.outputs import LoadChannel, SupplyState

#: What leaks from the point where power goes in when nothing is on, ohm: with it and the bleed time constant goes the
#: charge that a discharge resistor has to take.
LEAK_OHM = 1000.0
#: What a board that charges is seen as by the supply, ohm: the voltage it still lacks over this is its inrush current.
INRUSH_OHM = 10.0
#: A load channel holds its current down to this share of the set one; below it is unregulated.
REGULATES = 0.98
#: The resistor at the far end of the loop through lid and covers, ohm.
INTERLOCK_OHM = 1000.0
#: Time constant of a nest without a board, s.
_EMPTY_S = 0.001
#: Steps to the voltage of a supply that a discharge resistor pulls into its limit; each halves what is left.
_HALVINGS = 16


class Rack:
    """The nest and everything that is wired to it.

    Attributes
    ----------
    cable_asked, cable_fitted : the cable that the handler believes is fitted, and the one that truly is.
    """

    def __init__(self, setup: Setup, log: BenchLog) -> None:
        self.lock = threading.RLock()
        self.log = log
        self.setup = setup
        self.board: Board | None = None
        self.lid_closed = True
        self.supply = SupplyState()
        self.loads = {channel: LoadChannel() for channel in range(1, setup.bench.load.channels + 1)}
        self.closed: tuple[int, ...] = ()
        self.closed_since_s = 0.0
        self.operating = Operating({}, 0.0, {})
        self.feed = input_point(setup.fixture)
        ends = {name: {point.plus, point.minus} for name, point in setup.fixture.points.items()}
        self._across_feed = [name for name in ends if ends[name] == ends[self.feed]]
        self._points = {name: Approach(0.0, 0.0, 0.0, _EMPTY_S) for name in setup.fixture.points}
        self._load_points = {point.load: name for name, point in setup.fixture.points.items() if point.load is not None}
        self._stock = Stock(setup)
        self._shown: dict[str, str] = {}
        self._interlock: float | Literal["lid"] | None = "lid"
        self.fit_cable(setup.fixture.cable, 0.0)

    def place(self, serial: str, now: float) -> None:
        """Put the board of a serial into the nest, with the charge that it brings; the lid closes."""
        self.board = self._stock.board(serial, self.cable_fitted)
        self.lid_closed = True
        self._points = {
            name: Approach(volts, 0.0, now, self.board.bleed_s[name]) for name, volts in self.board.charge_V.items()
        }
        self._note(now, "handler", f"{serial} in")
        self.apply(now)

    def eject(self, now: float) -> None:
        """Take the board out; the lid opens."""
        self.board = None
        self.lid_closed = False
        self._points = {name: Approach(0.0, 0.0, now, _EMPTY_S) for name in self._points}
        self._note(now, "handler", "nest empty")
        self.apply(now)

    def fit_cable(self, asked: str, now: float) -> None:
        """Fit a cable, under power too. What comes out of the drawer may be another than the one asked for.

        Raises
        ------
        SetupError : there is no such cable in the library, or it does not fit; then the one before stays.
        """
        fitted = truly_fitted(self.setup, asked)
        self._stock.joined(fitted)
        if self.board is not None:
            self.board = self._stock.board(self.board.serial, fitted)
        self.cable_asked, self.cable_fitted = asked, fitted
        self._note(now, "cable", fitted)
        self.apply(now)

    @property
    def interlock_ohms(self) -> float | None:
        """What the loop through lid and covers measures, ohm; `None` is open. It follows the lid until it is set."""
        if self._interlock != "lid":
            return self._interlock
        return INTERLOCK_OHM if self.lid_closed else None

    @interlock_ohms.setter
    def interlock_ohms(self, ohms: float | None) -> None:
        self._interlock = ohms

    def set_relays(self, closed: tuple[int, ...], effective_s: float) -> None:
        """Relays closed from `effective_s` on; until then the meter's input is open."""
        self.closed, self.closed_since_s = closed, effective_s
        self._note(effective_s, "scanner", ",".join(map(str, closed)) or "all open")
        self.apply(effective_s)

    @property
    def discharging(self) -> bool:
        """Whether the discharge resistor is across the point where power goes in."""
        return self.setup.fixture.discharge.scanner in self.closed

    def apply(self, now: float) -> None:
        """Work out where everything goes from `now` on; protections that trip switch their output off at once."""
        self.operating = self._solved()
        while self._protect(now):
            self.operating = self._solved()
        self._points = {
            name: approach.toward(self.operating.points[name], self._tau_s(name), now)
            for name, approach in self._points.items()
        }
        self._note_outputs(now)

    def volts(self, point: str, time_s: float) -> float:
        """True voltage of a point at a moment, V."""
        return self._points[point].at(time_s)

    def mean_volts(self, point: str, from_s: float, to_s: float) -> float:
        """True voltage of a point, averaged over an integration window, V."""
        return self._points[point].mean(from_s, to_s)

    def cold_rise(self, point: str, current_A: float, compliance_V: float, since_s: float) -> Approach:
        """What the meter's test current, switched on at `since_s`, adds at a point, V; an empty nest is an open."""
        if self.board is None:
            return Approach(compliance_V, compliance_V, since_s, _EMPTY_S)
        target = self.board.cold(point, current_A, compliance_V)
        return Approach(0.0, target, since_s, self.board.settle_s[point])

    def supply_volts(self, time_s: float) -> float:
        """Voltage at the supply's terminals, V."""
        return self.volts(self.feed, time_s)

    def supply_amperes(self, time_s: float) -> float:
        """Current out of the supply, A; while its voltage rises, it charges the board too, up to its limit."""
        if not self.supply.on:
            return 0.0
        steady = self.operating.supply_A + self._discharge_A
        missing_V = self.operating.points[self.feed] - self.supply_volts(time_s)
        return min(self.supply.limit_A, steady + max(0.0, missing_V) / INRUSH_OHM)

    def supply_limiting(self, time_s: float) -> bool:
        """Whether the supply is held by its current limit."""
        return self.supply.on and self.supply_amperes(time_s) >= self.supply.limit_A * 0.999

    def load_volts(self, channel: int, time_s: float) -> float:
        """Voltage at a load channel's terminals, V; a channel that is wired to no point has none."""
        point = self._load_points.get(channel)
        return 0.0 if point is None else self.volts(point, time_s)

    def load_amperes(self, channel: int, time_s: float) -> float:
        """Current into a load channel, A: never more than its minimum resistance lets through."""
        load = self.loads[channel]
        steady = self.operating.loads.get(channel, 0.0)
        return max(0.0, min(load.true_A, steady)) if load.on and self.load_volts(channel, time_s) > 0 else 0.0

    def load_unregulated(self, channel: int) -> bool:
        """Whether a channel that is on cannot draw what it is set to."""
        load = self.loads[channel]
        return load.on and self.operating.loads.get(channel, 0.0) < REGULATES * load.true_A

    def needle_ohms(self, terminal: str) -> float | None:
        """Contact resistance between the two needles on a terminal, ohm; `None` where they do not touch."""
        simulation = simulation_of(self.setup)
        if terminal in simulation.open_needles or self.board is None:
            return None
        return Random(f"{simulation.seed}/{self.board.serial}/needle {terminal}").uniform(0.1, 0.3)

    @property
    def _discharge_A(self) -> float:
        if not self.discharging:
            return 0.0
        return self.operating.points[self.feed] / float(self.setup.fixture.discharge.resistor)

    def _solved(self) -> Operating:
        drawn = {channel: load.true_A for channel, load in self.loads.items() if load.on and self._wired(channel)}
        if not self.supply.on:
            return Operating(dict.fromkeys(self._points, 0.0), 0.0, dict.fromkeys(drawn, 0.0))
        volts, limit_A = self.supply.volts, self.supply.limit_A
        if self.discharging:
            volts = self._sagged(volts, limit_A, drawn)
        return self._operating(volts, limit_A, drawn)

    def _operating(self, volts: float, limit_A: float, drawn: Mapping[int, float]) -> Operating:
        if self.board is None:
            points = {name: volts if name == self.feed else 0.0 for name in self._points}
            return Operating(points, 0.0, dict.fromkeys(drawn, 0.0))
        return self.board.powered(volts, limit_A, drawn)

    def _sagged(self, volts: float, limit_A: float, drawn: Mapping[int, float]) -> float:
        """Voltage at which the board and the discharge resistor together draw no more than the limit, by halving."""

        def amperes(at: float) -> float:
            resistor_A = at / float(self.setup.fixture.discharge.resistor)
            return self._operating(at, limit_A, drawn).supply_A + resistor_A

        if amperes(volts) <= limit_A:
            return volts
        low, high = 0.0, volts
        for _ in range(_HALVINGS):
            middle = (low + high) / 2
            low, high = (middle, high) if amperes(middle) <= limit_A else (low, middle)
        return low

    def _wired(self, channel: int) -> bool:
        return channel in self._load_points

    def _protect(self, now: float) -> bool:
        """Trip what is beyond its limits; whether anything did."""
        found = False
        if self.supply.on and self.operating.points[self.feed] > self.supply.trip_V:
            self.supply.on, self.supply.tripped, found = False, True, True
            self._note(now, "supply", "over-voltage protection tripped")
        for channel, load in self.loads.items():
            amperes = self.operating.loads.get(channel, 0.0)
            watts = amperes * self.operating.points.get(self._load_points.get(channel, ""), 0.0)
            which = "current" if amperes > load.trip_A else "power" if watts > load.trip_W else ""
            if load.on and which:
                load.on, load.tripped, found = False, which, True
                self._note(now, f"load {channel}", f"{which} protection tripped")
        return found

    def _tau_s(self, point: str) -> float:
        if self.board is None:
            return _EMPTY_S
        loaded = any(load.on and self._load_points.get(channel) == point for channel, load in self.loads.items())
        if self.supply.on or loaded:
            return self.board.settle_s[point]
        if point in self._across_feed and self.discharging:
            ohms = float(self.setup.fixture.discharge.resistor)
            return self.board.bleed_s[point] * ohms / (ohms + LEAK_OHM)
        return self.board.bleed_s[point]

    def _note_outputs(self, now: float) -> None:
        states: Mapping[str, str] = {
            "supply": f"{self.supply.volts:g} V {self.supply.limit_A:g} A" if self.supply.on else "",
            **{f"load {n}": f"{load.set_A:g} A" if load.on else "" for n, load in self.loads.items()},
        }
        for role, text in states.items():
            if self._shown.get(role, "") != text:
                self._shown[role] = text
                self._note(now, role, f"{text} on" if text else "off")

    def _note(self, now: float, role: str, text: str) -> None:
        self.log.add(now, role, Kind.STATE, text)
