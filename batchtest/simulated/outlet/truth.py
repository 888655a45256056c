"""The truth about a simulated host's outlet, by which a station is judged: from circuit and heat balance alone."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Self

import numpy as np

from batchtest.files.hosts import HostSetup
from batchtest.procedure.host_model import at_mains
from batchtest.simulated.hosts import Host, HostStock
from batchtest.simulated.outlet.drawn import threshold_A, trip_s
from batchtest.simulated.outlet.feeds import HostSource
from batchtest.simulated.outlet.heat import Body
from batchtest.simulated.outlet.limiter import Limiter
from batchtest.simulated.outlet.placed import PlacedOutlet, outlet_point, placed_outlet

#: Steps in which the largest usable current is halved in on, and how far up it is looked for, A.
_HALVINGS, _LARGEST_A = 30, 4.0
#: No part in series with an outlet comes to rest above this, C.
_BURNS_C = 500.0


@dataclass(frozen=True, slots=True)
class OutletTruth:
    """One host as it is when the plug goes in: today's mains, the part in series at rest in its air."""

    setup: HostSetup
    host: Host
    placed: PlacedOutlet
    _days: dict[float, HostSource] = field(default_factory=dict)

    @classmethod
    def of(cls, setup: HostSetup, serial: str) -> Self | None:
        """The truth about a serial; `None` where the part in series with its outlet has failed."""
        host = HostStock(setup).host(serial)
        placed = placed_outlet(setup, host, outlet_point(setup))
        return None if placed is None else cls(setup, host, placed)

    @property
    def limiter(self) -> Limiter:
        """What is in series with the outlet, never driven."""
        return self.placed.limiter

    @property
    def cold_ohm(self) -> float:
        """Resistance of the part in series at rest, without the wire behind it, ohm."""
        return self.limiter.ohm(0.0)

    def cold_V(self, amperes: float) -> float:
        """Voltage at the outlet's pins at a current, before anything has warmed, V; raises NoOperatingPoint."""
        return self._pins_V(self.placed.source, amperes, self.cold_ohm)

    def source_ohm(self, currents_A: Sequence[float]) -> float:
        """Cold source resistance over these currents, ohm: minus the least-squares slope of the true voltages."""
        volts = [self.cold_V(amperes) for amperes in currents_A]
        return -float(np.polyfit(currents_A, volts, 1)[0])

    def threshold_A(self, ambient_C: float | None = None) -> float:
        """The largest constant current that does not trip the part, A, in its own air where no other is said."""
        body = self._body(ambient_C)
        return threshold_A(self.limiter.law, body.dissipation_W_K, body.ambient_C)

    def trip_s(self, amperes: float, ambient_C: float | None = None) -> float:
        """Time to trip of the part at a constant current, from rest, s; infinite at or below the threshold."""
        return trip_s(self.limiter.law, self._body(ambient_C), amperes)

    def hot_ohm(self, amperes: float, ambient_C: float | None = None) -> float | None:
        """Resistance of the part at thermal rest, ohm; `None` where it trips, or burns, before it comes to rest."""
        law, body = self.limiter.law, self._body(ambient_C)
        if amperes >= self.threshold_A(ambient_C):
            return None
        low_C, step_K = body.ambient_C, 1.0
        while step_K > 1e-9:  # the first temperature at which as much is shed as comes
            next_C = low_C + step_K
            if amperes**2 * law.ohm(next_C, next_C) > body.dissipation_W_K * (next_C - body.ambient_C):
                low_C = next_C
                if low_C > _BURNS_C:
                    return None
            else:
                step_K /= 2
        return law.ohm(low_C, low_C)

    def worst_V(self, amperes: float, ambient_C: float) -> float | None:
        """Voltage at the pins, hot, at an ambient, and with the mains as low as they may be, V.

        `None` where the part trips, or the host cannot give the current. Raises NoOperatingPoint.
        """
        ohm, source = self.hot_ohm(amperes, ambient_C), self._worst_day(ambient_C)
        if ohm is None or source.most_A(ohm + self.placed.wire_ohm) < amperes:
            return None
        return self._pins_V(source, amperes, ohm)

    def usable_A(self, floor_V: float, ambient_C: float) -> float:
        """The largest current that leaves a voltage at the pins on the worst day, hot, without a trip, A."""
        low_A, high_A = 0.0, _LARGEST_A
        for _ in range(_HALVINGS):
            middle_A = (low_A + high_A) / 2
            volts = self.worst_V(middle_A, ambient_C)
            low_A, high_A = (middle_A, high_A) if volts is not None and volts >= floor_V else (low_A, middle_A)
        return low_A

    def _body(self, ambient_C: float | None) -> Body:
        body = self.limiter.body
        return body if ambient_C is None else replace(body, ambient_C=ambient_C)

    def _worst_day(self, ambient_C: float) -> HostSource:
        """The host at an ambient with the mains as low as they may be; solved once for each ambient."""
        if ambient_C not in self._days:
            source, low = self.placed.source, 1 - float(self.setup.fixture.mains.within)
            values = at_mains(self.host.system.assembly, self.setup.circuit, source.values, low / self.host.mains)
            self._days[ambient_C] = HostSource(
                source.model, values, source.part_ohm, ambient_C, source.points, source.upstream, source.load_ohm
            )
        return self._days[ambient_C]

    def _pins_V(self, source: HostSource, amperes: float, ohm: float) -> float:
        return source.behind(amperes).volts - amperes * (ohm + self.placed.wire_ohm)
