"""What lies at the meter's terminals by the scanner's relays: a point, a needle, reference, interlock, or nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from batchtest.simulated.approach import Approach
from batchtest.simulated.imperfections import Hum
from batchtest.simulated.wired import Wired

#: What an open input picks up beside the hum, V rms.
OPEN_NOISE_V = 0.002


@dataclass(frozen=True, slots=True)
class Input:
    """The meter's terminals for one reading: a true voltage there already, what the test current adds, hum; or open.

    `steady_V` is a source or the drop over a resistor; `compliance_V` where the test current gives up.
    """

    rack: Wired
    hum: Hum
    compliance_V: float = math.inf
    point: str | None = None
    steady_V: float = 0.0
    rise: Approach | None = None
    open: bool = False

    def mean(self, from_s: float, to_s: float) -> float:
        """Mean voltage over an integration window, V."""
        volts = self.steady_V + self.hum.mean(from_s, to_s)
        if self.point is not None:
            volts += self.rack.mean_volts(self.point, from_s, to_s)
        if self.rise is not None:
            volts += self.rise.mean(from_s, to_s)
        return volts

    def gives_up(self) -> bool:
        """Whether the test current cannot flow: nothing is connected, or it would need more than its compliance."""
        return self.open or (self.rise is not None and self.rise.target >= 0.999 * self.compliance_V)


class Wiring:
    """Finds what the relays connect to the meter."""

    def __init__(self, rack: Wired, hum: Hum) -> None:
        self._rack = rack
        self._hum = hum
        fixture, bench = rack.fixture, rack.bench
        self._points = {point.scanner: name for name, point in fixture.points.items()}
        self._needles = {
            channel: terminal
            for point in fixture.points.values()
            for channel, terminal in zip(point.contact, (point.plus, point.minus), strict=True)
        }
        self._reference = bench.reference.scanner
        self._reference_V = float(bench.reference.voltage)
        self._interlock = None if bench.interlock is None else bench.interlock.scanner

    def at(self, time_s: float, current_A: float, compliance_V: float, since_s: float) -> Input:
        """What is connected at a moment, with a test current of the meter's that flows since `since_s` (0 A: none)."""
        rack = self._rack
        for channel in rack.closed if time_s >= rack.closed_since_s else ():
            if channel == self._reference:
                return Input(rack, self._hum, steady_V=self._reference_V)
            if channel == self._interlock:
                return self._resistor(rack.interlock_ohms, current_A)
            if channel in self._needles:
                return self._resistor(rack.needle_ohms(self._needles[channel]), current_A)
            if channel in self._points:
                return self._point(self._points[channel], current_A, compliance_V, max(since_s, rack.closed_since_s))
        return Input(rack, self._hum, open=True)

    def _resistor(self, ohms: float | None, current_A: float) -> Input:
        """A resistor that carries nothing but the test current; `None` is open."""
        if ohms is None:
            return Input(self._rack, self._hum, open=True)
        return Input(self._rack, self._hum, steady_V=ohms * current_A)

    def _point(self, name: str, current_A: float, compliance_V: float, since_s: float) -> Input:
        point = self._rack.fixture.points[name]
        if any(self._rack.needle_ohms(terminal) is None for terminal in (point.plus, point.minus)):
            return Input(self._rack, self._hum, open=True)
        rise = self._rack.cold_rise(name, current_A, compliance_V, since_s) if current_A else None
        return Input(self._rack, self._hum, compliance_V, point=name, rise=rise)
