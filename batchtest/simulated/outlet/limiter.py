"""What stands in series with one host's outlet, with its memory: how warm it is, and when it tripped last."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field

from batchtest.simulated.outlet.heat import Body, Warming, Warmth
from batchtest.simulated.outlet.laws import Law

#: Just frozen again, a fuse has gained so many times what stays of a trip; the rest goes with this time constant, s.
FRESH, SETTLES_S = 2.0, 900.0
#: It has frozen once it counts as molten only so far below where it trips, K.
_FROZEN_K = 10.0


def no_current(_ohm: float) -> float:
    """What flows where nothing drives, A."""
    return 0.0


@dataclass(slots=True)
class Limiter:
    """A resistor or a fuse.

    Parameters
    ----------
    per_trip : what stays of a trip for good, as a share of the resistance.
    resets : when it froze after each trip on this bench, s.
    """

    law: Law
    body: Body
    per_trip: float = 0.0
    resets: list[float] = field(default_factory=list)
    tripped: bool = False
    _warming: Warming = field(init=False)

    def __post_init__(self) -> None:
        self._warming = self._begun(no_current, Warmth(self.body.ambient_C, self.body.ambient_C), 0.0)

    def drive(self, amperes: Callable[[float], float], now: float) -> None:
        """From `now` on a circuit drives so many A through it, by its resistance in ohm."""
        now = max(now, self._warming.since_s)
        self._look(now)
        self._warming = self._begun(amperes, self._warming.at(now), now)

    def ohm(self, time_s: float) -> float:
        """Its resistance at a moment since it was last driven otherwise, ohm."""
        self._look(time_s)
        return self._warming.ohm(time_s)

    def temperature_C(self, time_s: float) -> float:
        """Its temperature at a moment, C."""
        return self._warming.at(time_s).temperature_C

    def growth(self, time_s: float) -> float:
        """Its resistance over what it was before the first trip on this bench, for the same temperature."""
        grown = 1.0
        for reset_s in self.resets:
            fresh = (FRESH - 1) * math.exp(-max(0.0, time_s - reset_s) / SETTLES_S)
            grown *= 1 + self.per_trip * (1 + fresh)
        return grown

    def _begun(self, amperes: Callable[[float], float], start: Warmth, now: float) -> Warming:
        return Warming(self.law, self.body, amperes, start, now, self.growth)

    def _look(self, time_s: float) -> None:
        """Note that it has tripped, or has frozen again since."""
        warmth = self._warming.at(time_s)
        if warmth.melted_C > self.law.trips_C:
            self.tripped = True
        elif self.tripped and self._frozen(warmth):
            self.tripped = False
            reset_s = self._warming.first(self._frozen, time_s)
            self.resets.append(time_s if reset_s is None else reset_s)

    def _frozen(self, warmth: Warmth) -> bool:
        return warmth.melted_C < self.law.trips_C - _FROZEN_K
