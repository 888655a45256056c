"""The electrical state of a host behind its break-out plug: which one, whether it is on, what loads draw from it."""

from __future__ import annotations

from random import Random

from batchtest.files.hosts import HostSetup
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Operating
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.hosts import Host, HostStock
from batchtest.simulated.log import BenchLog
from batchtest.simulated.wired import EMPTY_S, Wired


class HostRack(Wired):
    """A break-out plug, and the host that it is in. The bench supply is wired to nothing.

    Attributes
    ----------
    host : `None` where the plug is in no host.
    live : whether the mains of that host are on.
    """

    def __init__(self, setup: HostSetup, log: BenchLog) -> None:
        super().__init__(setup.bench, setup.fixture, log)
        self.host: Host | None = None
        self.live = False
        self._setup = setup
        self._stock = HostStock(setup)

    def place(self, serial: str, now: float) -> None:
        """Put the plug into the host of a serial, whose mains are off; the lid closes."""
        self.host, self.live, self.lid_closed = self._stock.host(serial), False, True
        self._points = {name: Approach(0.0, 0.0, now, EMPTY_S) for name in self._points}
        self._note(now, "handler", f"{serial} in")
        self.apply(now)

    def eject(self, now: float) -> None:
        """Pull the plug; the lid opens. The host's mains go off."""
        if self.live:
            self.switch(False, now)
        self.host, self.lid_closed = None, False
        self._points = {name: Approach(0.0, 0.0, now, EMPTY_S) for name in self._points}
        self._note(now, "handler", "in no host")
        self.apply(now)

    def switch(self, on: bool, now: float) -> None:
        """Switch the mains of the host."""
        assert self.host is not None, "the handler refuses where there is no host"
        self.live = on
        self._note(now, "host", f"{self.host.serial} {'on' if on else 'off'}")
        self.apply(now)

    def cold_rise(self, point: str, current_A: float, compliance_V: float, since_s: float) -> Approach:
        """What the meter's test current adds at a point, V; a plug in no host is an open."""
        if self.host is None:
            return Approach(compliance_V, compliance_V, since_s, EMPTY_S)
        target = self.host.cold(point, current_A, compliance_V, live=self.live)
        return Approach(0.0, target - self.operating.points[point], since_s, self.host.settle_s[point])

    def needle_ohms(self, terminal: str) -> float | None:
        """Contact resistance between the two wires on a pin, ohm; `None` where they do not touch."""
        simulation = simulation_of(self._setup)
        if terminal in simulation.open_needles or self.host is None:
            return None
        return Random(f"{simulation.seed}/{self.host.serial}/needle {terminal}").uniform(0.1, 0.3)

    def supply_volts(self, time_s: float) -> float:
        """What the supply is set to, V: nothing is on it."""
        return self.supply.volts if self.supply.on else 0.0

    def supply_amperes(self, time_s: float) -> float:
        """Nothing, A."""
        return 0.0

    def supply_limiting(self, time_s: float) -> bool:
        """Never."""
        return False

    def _solved(self) -> Operating:
        drawn = self._drawn
        if self.host is None:
            return Operating(dict.fromkeys(self._points, 0.0), 0.0, dict.fromkeys(drawn, 0.0))
        return self.host.operating(drawn, live=self.live)

    def _tau_s(self, point: str) -> float:
        if self.host is None:
            return EMPTY_S
        loaded = any(load.on and self._load_points.get(channel) == point for channel, load in self.loads.items())
        return self.host.settle_s[point] if self.live or loaded else self.host.bleed_s[point]
