"""The electrical state of the nest: what lies in it by which cable, who drives what, where every voltage is then."""

from __future__ import annotations

from collections.abc import Mapping
from random import Random

from batchtest.files.fixture import input_point
from batchtest.files.library import Setup
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Board, Operating
from batchtest.simulated.boards import Stock, simulation_of, truly_fitted
from batchtest.simulated.log import BenchLog
from batchtest.simulated.wired import EMPTY_S, Wired

#: What leaks from the point where power goes in when nothing is on, ohm: with it and the bleed time constant goes the
#: charge that a discharge resistor has to take.
LEAK_OHM = 1000.0
#: What a board that charges is seen as by the supply, ohm: the voltage it still lacks over this is its inrush current.
INRUSH_OHM = 10.0
#: Steps to the voltage of a supply that a discharge resistor pulls into its limit; each halves what is left.
_HALVINGS = 16


class Rack(Wired):
    """The nest and everything that is wired to it.

    Attributes
    ----------
    cable_asked, cable_fitted : the cable that the handler believes is fitted, and the one that truly is.
    """

    def __init__(self, setup: Setup, log: BenchLog) -> None:
        super().__init__(setup.bench, setup.fixture, log)
        self.setup = setup
        self.board: Board | None = None
        self.feed = input_point(setup.fixture)
        ends = {name: {point.plus, point.minus} for name, point in setup.fixture.points.items()}
        self._across_feed = [name for name in ends if ends[name] == ends[self.feed]]
        self._stock = Stock(setup)
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
        self._points = {name: Approach(0.0, 0.0, now, EMPTY_S) for name in self._points}
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

    def cold_rise(self, point: str, current_A: float, compliance_V: float, since_s: float) -> Approach:
        """What the meter's test current, switched on at `since_s`, adds at a point, V; an empty nest is an open."""
        if self.board is None:
            return Approach(compliance_V, compliance_V, since_s, EMPTY_S)
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
        drawn = self._drawn
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

    def _tau_s(self, point: str) -> float:
        if self.board is None:
            return EMPTY_S
        loaded = any(load.on and self._load_points.get(channel) == point for channel, load in self.loads.items())
        if self.supply.on or loaded:
            return self.board.settle_s[point]
        if point in self._across_feed and self.discharging:
            ohms = float(self.setup.fixture.discharge.resistor)
            return self.board.bleed_s[point] * ohms / (ohms + LEAK_OHM)
        return self.board.bleed_s[point]
