"""The electrical state of a host's outlet: the host of `HostRack`, and in series with its outlet a part with a memory.

The voltage at the outlet moves for two reasons: it settles after every switching, as all points do; and the part in
series warms and cools. The first is what is left of the last jump, the second is where the circuit stands with the
part's resistance of the moment. Nothing here knows how a station works out what an outlet can carry.
"""

from __future__ import annotations

import math
from dataclasses import replace

from batchtest.errors import NoOperatingPoint, SetupError
from batchtest.files.hosts import HostSetup
from batchtest.simulated.approach import Approach
from batchtest.simulated.board import Operating
from batchtest.simulated.host_rack import HostRack
from batchtest.simulated.log import BenchLog
from batchtest.simulated.outlet.feeds import Behind, BenchFeed, Feed, HostFeed, OpenFeed
from batchtest.simulated.outlet.placed import PlacedOutlet, outlet_point, placed_outlet, told_outlet
from batchtest.simulated.wired import EMPTY_S, REGULATES


class OutletRack(HostRack):
    """A break-out plug whose outlet the load draws from.

    Attributes
    ----------
    outlet : what is behind the outlet of the host placed; `None` without a host, or where the part has failed.
    alone : whether the part is out of the host, between the bench supply and the load.
    """

    def __init__(self, setup: HostSetup, log: BenchLog) -> None:
        super().__init__(setup, log)
        told_outlet(setup)
        self.outlet: PlacedOutlet | None = None
        self.alone = False
        self._point = outlet_point(setup)
        self._feed: Feed = OpenFeed(0.0)
        self._left = Approach(0.0, 0.0, 0.0, EMPTY_S)
        self._now = 0.0
        self._carried_s = 0.0

    def place(self, serial: str, now: float) -> None:
        """Put the plug into a host, whose part in series is as cool as its air."""
        self.outlet, self.alone = None, False
        super().place(serial, now)
        assert self.host is not None
        self.outlet = placed_outlet(self._setup, self.host, self._point)
        if self.outlet is not None:
            self.host = self.outlet.host
        self.apply(now)

    def eject(self, now: float) -> None:
        """Pull the plug; what was taken out of the host goes back into it."""
        self.outlet, self.alone = None, False
        super().eject(now)

    def take_out(self, out: bool, now: float) -> None:
        """Take the part out of the host, which is off, and into the holder on the bench; or put it back.

        Raises
        ------
        SetupError : the host is on, or there is no part that can be taken out.
        """
        if self.live or self.outlet is None:
            raise SetupError("the host is on; switch it off first" if self.live else "there is nothing to take out")
        self.alone = out
        self._note(now, "handler", "fuse in the holder" if out else "fuse in its host")
        self.apply(now)

    def switch(self, on: bool, now: float) -> None:
        """Switch the mains of the host, whose own fuse is good again: it was changed while the host was off.

        Raises
        ------
        SetupError : its part is in the holder on the bench.
        """
        if on and self.alone:
            raise SetupError("the fuse of this host is in the holder on the bench; put it back first")
        if self.outlet is not None and not on:
            self.outlet.upstream.renew()
        super().switch(on, now)

    def apply(self, now: float) -> None:
        """Work out where everything goes from `now` on, the part as warm as it is."""
        now = max(now, self._now)
        before_V = self.volts(self._point.name, now)
        self._now = now
        super().apply(now)
        if self.outlet is not None:
            self.outlet.limiter.drive(self._feed.amperes, now)
        target_V = self.operating.points[self._point.name]
        self._left = Approach(before_V - target_V, 0.0, now, self._tau_s(self._point.name))

    def expire(self, now: float) -> None:
        """What time alone changes: outputs whose time is over, the host's own fuse, what trips on the part's warmth."""
        super().expire(now)
        self._now = max(self._now, now)
        if self._blows() or self._trips():
            self.apply(self._now)

    def volts(self, point: str, time_s: float) -> float:
        """True voltage of a point at a moment, V."""
        if point != self._point.name:
            return super().volts(point, time_s)
        return self._feed.volts(self._ohm(time_s)) + self._left.at(time_s)

    def mean_volts(self, point: str, from_s: float, to_s: float) -> float:
        """True voltage of a point, averaged over an integration window, V: Simpson's rule for the part's warmth."""
        if point != self._point.name:
            return super().mean_volts(point, from_s, to_s)
        begin, middle, end = (self._feed.volts(self._ohm(each)) for each in (from_s, (from_s + to_s) / 2, to_s))
        return (begin + 4 * middle + end) / 6 + self._left.mean(from_s, to_s)

    def load_volts(self, channel: int, time_s: float) -> float:
        """Voltage at a load channel's terminals, V: the outlet's less what the lead to it drops."""
        if channel != self._point.channel or self.outlet is None:
            return super().load_volts(channel, time_s)
        drop_V = self.load_amperes(channel, time_s) * float(self.outlet.told.lead)
        return self.volts(self._point.name, time_s) - drop_V

    def load_amperes(self, channel: int, time_s: float) -> float:
        """Current into a load channel, A."""
        if channel != self._point.channel or self.outlet is None:
            return super().load_amperes(channel, time_s)
        return self._feed.amperes(self._ohm(time_s)) if self.loads[channel].on else 0.0

    def load_unregulated(self, channel: int) -> bool:
        """Whether a channel that is on cannot draw what it is set to."""
        load = self.loads[channel]
        return load.on and self.load_amperes(channel, self._now) < REGULATES * load.true_A

    def cold_rise(self, point: str, current_A: float, compliance_V: float, since_s: float) -> Approach:
        """What the meter's test current adds at a point, V; a part in the holder has nothing behind it."""
        if self.alone:
            return Approach(compliance_V, compliance_V, since_s, EMPTY_S)
        return super().cold_rise(point, current_A, compliance_V, since_s)

    def supply_volts(self, time_s: float) -> float:
        """Voltage at the supply's terminals, V."""
        if isinstance(self._feed, BenchFeed):
            return self._feed.supply_volts(self._ohm(time_s))
        return super().supply_volts(time_s)

    def supply_amperes(self, time_s: float) -> float:
        """Current out of the supply, A; none while the part is in its host."""
        return self._feed.amperes(self._ohm(time_s)) if self.alone else 0.0

    def supply_limiting(self, time_s: float) -> bool:
        """Whether the supply is held by its current limit."""
        return self.supply.on and self.alone and self.supply_amperes(time_s) >= 0.999 * self.supply.limit_A

    def _ohm(self, time_s: float) -> float:
        return 0.0 if self.outlet is None else self.outlet.limiter.ohm(max(time_s, self._now))

    @property
    def _set_A(self) -> float:
        """What the load is set to draw from the outlet, A."""
        return self._drawn.get(self._point.channel, 0.0)

    def _tau_s(self, point: str) -> float:
        return EMPTY_S if self.alone else super()._tau_s(point)

    def _solved(self) -> Operating:
        try:
            found = self._driven()
        except NoOperatingPoint as error:
            found = replace(self._dead(), unsolved=str(error))
            self._feed = OpenFeed(0.0)
        return found

    def _driven(self) -> Operating:
        """Choose what drives the part, and where everything settles with it as warm as it is."""
        point, outlet, set_A = self._point, self.outlet, self._set_A
        if outlet is not None and self.alone:
            on = self.supply.on
            self._feed = BenchFeed(self.supply.volts if on else 0.0, self.supply.limit_A, set_A, outlet.load_ohm)
            return self._fed(self._dead(), self.supply_amperes(self._now))
        if outlet is None or not self.live or outlet.upstream.opened or set_A == 0:
            blown = outlet is not None and outlet.upstream.opened
            found = self._dead() if blown else super()._solved()
            self._feed = OpenFeed(found.points[point.name])
            return found
        self._feed = HostFeed(outlet.source, set_A, outlet.wire_ohm, outlet.load_ohm)
        return self._fed(replace(self._dead(), points=self._behind(outlet).points), 0.0)

    def _fed(self, others: Operating, supply_A: float) -> Operating:
        """An operating point with the outlet's voltage and the load's current as the part now lets them be."""
        ohm = self._ohm(self._now)
        points = {**others.points, self._point.name: self._feed.volts(ohm)}
        loads = {**others.loads, self._point.channel: self._feed.amperes(ohm)}
        return Operating(points, supply_A, loads)

    def _dead(self) -> Operating:
        return Operating(dict.fromkeys(self._points, 0.0), 0.0, dict.fromkeys(self._drawn, 0.0))

    def _behind(self, outlet: PlacedOutlet) -> Behind:
        """Before the part, with the current that flows now; where the load does not get its own, to 10 mA."""
        amperes = self._feed.amperes(self._ohm(self._now))
        return outlet.source.behind(amperes if amperes >= self._set_A else round(amperes, 2))

    def _blows(self) -> bool:
        """Whether the host's own fuse opens, after what it has carried since it was last looked at."""
        carried_s, self._carried_s = self._now - self._carried_s, self._now
        outlet = self.outlet
        if outlet is None or not self.live or outlet.upstream.opened or math.isinf(outlet.upstream.rating_A):
            return False
        if not outlet.upstream.carry(self._behind(outlet).upstream_A, carried_s):
            return False
        self._note(self._now, "host", "its own fuse opened")
        return True

    def _trips(self) -> bool:
        """Whether an output trips on what the part has become since."""
        if not self.supply.on and not any(load.on for load in self.loads.values()):
            return False
        self.operating = self._solved()
        return self._protect(self._now)
