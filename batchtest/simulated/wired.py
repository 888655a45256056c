"""What every simulated rack has: relays, interlock, outputs with their protections, and points whose voltages move.

Instruments change `supply`, `loads` and the relays, and then call `apply`: the new operating point is solved, and the
voltages begin to move toward it from where they are. Nothing here is what an instrument reads; it is what is true.
"""

from __future__ import annotations

import threading
from abc import ABC, abstractmethod
from collections.abc import Mapping
from typing import Literal

from batchtest.files.bench import BenchFile
from batchtest.files.fixture import Reached
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Operating
from batchtest.simulated.log import BenchLog, Kind
from batchtest.simulated.outputs import LoadChannel, SupplyState

#: A load channel holds its current down to this share of the set one; below it is unregulated.
REGULATES = 0.98
#: The resistor at the far end of the loop through lid and covers, ohm.
INTERLOCK_OHM = 1000.0
#: Time constant of points on which nothing hangs, s.
EMPTY_S = 0.001


class Wired(ABC):
    """What instruments are wired to; a nest with its board, or a live host, says where its points settle.

    Attributes
    ----------
    feed : the point that the bench supply feeds; "" where it is wired to none.
    """

    def __init__(self, bench: BenchFile, fixture: Reached, log: BenchLog) -> None:
        self.lock = threading.RLock()
        self.bench, self.fixture, self.log = bench, fixture, log
        self.feed = ""
        self.lid_closed = True
        self.supply = SupplyState()
        self.loads = {channel: LoadChannel() for channel in range(1, bench.load.channels + 1)}
        self.closed: tuple[int, ...] = ()
        self.closed_since_s = 0.0
        self.operating = Operating({}, 0.0, {})
        self._points = {name: Approach(0.0, 0.0, 0.0, EMPTY_S) for name in fixture.points}
        self._load_points = {point.load: name for name, point in fixture.points.items() if point.load is not None}
        self._shown: dict[str, str] = {}
        self._interlock: float | Literal["lid"] | None = "lid"

    @abstractmethod
    def cold_rise(self, point: str, current_A: float, compliance_V: float, since_s: float) -> Approach:
        """What the meter's test current, switched on at `since_s`, adds at a point, V."""

    @abstractmethod
    def needle_ohms(self, terminal: str) -> float | None:
        """Contact resistance between the two needles on a terminal, ohm; `None` where they do not touch."""

    @abstractmethod
    def supply_volts(self, time_s: float) -> float:
        """Voltage at the supply's terminals, V."""

    @abstractmethod
    def supply_amperes(self, time_s: float) -> float:
        """Current out of the supply, A."""

    @abstractmethod
    def supply_limiting(self, time_s: float) -> bool:
        """Whether the supply is held by its current limit."""

    @abstractmethod
    def _solved(self) -> Operating:
        """Where everything settles as it is driven now."""

    @abstractmethod
    def _tau_s(self, point: str) -> float:
        """Time constant with which a point moves there, s."""

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
        """Whether the discharge resistor is on its point."""
        return self.fixture.discharge is not None and self.fixture.discharge.scanner in self.closed

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

    @property
    def _drawn(self) -> dict[int, float]:
        """Current of the load channels that are on and wired, A."""
        return {
            channel: load.true_A for channel, load in self.loads.items() if load.on and channel in self._load_points
        }

    def expire(self, now: float) -> None:
        """Outputs whose time is over go off: nobody has spoken to the supply, or a load input was on for too long."""
        supply, expired = self.supply, False
        if supply.on and supply.watchdog_s and now - supply.spoken_s > supply.watchdog_s:
            supply.on, supply.tripped, supply.trip, expired = False, True, "silence", True
            self._note(now, "supply", "watchdog tripped")
        for channel, load in self.loads.items():
            if load.on and load.timer_s and now - load.on_since_s > load.timer_s:
                load.on, load.tripped, expired = False, "time", True
                self._note(now, f"load {channel}", "load-on time is over")
        if expired:
            self.apply(now)

    def _protect(self, now: float) -> bool:
        """Trip what is beyond its limits; whether anything did."""
        found = False
        supply = self.supply
        above = bool(self.feed) and self.operating.points[self.feed] > supply.trip_V
        if supply.on and (above or self.operating.supply_A > supply.trip_A):
            supply.trip = "voltage" if above else "current"
            supply.on, supply.tripped, found = False, True, True
            self._note(now, "supply", f"over-{supply.trip} protection tripped")
        for channel, load in self.loads.items():
            amperes = self.operating.loads.get(channel, 0.0)
            volts = self.operating.points.get(self._load_points.get(channel, ""), 0.0)
            limits = (
                ("current", amperes > load.trip_A),
                ("power", amperes * volts > load.trip_W),
                ("under-voltage", volts < load.under_V),
            )
            which = next((name for name, beyond in limits if beyond), "")
            if load.on and which:
                load.on, load.tripped, found = False, which, True
                self._note(now, f"load {channel}", f"{which} protection tripped")
        return found

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
