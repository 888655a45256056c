"""First-order approach of a voltage to where it is going, in closed form."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Approach:
    """A voltage that was at `start` at `since_s` and moves to `target` with time constant `tau_s`.

    >>> round(Approach(0.0, 5.0, since_s=1.0, tau_s=0.01).at(1.01), 4)
    3.1606
    """

    start: float
    target: float
    since_s: float
    tau_s: float

    def at(self, time_s: float) -> float:
        """Voltage at a moment, V; before it began to move it is at its start."""
        passed = time_s - self.since_s
        if passed <= 0:
            return self.start
        return self.target + (self.start - self.target) * math.exp(-passed / self.tau_s)

    def mean(self, from_s: float, to_s: float) -> float:
        """Mean voltage over a window, V: what an integrating meter sees of it."""
        begin, end = max(from_s, self.since_s), max(to_s, self.since_s)
        if end <= begin or to_s <= from_s:
            return self.at(from_s)
        decay = math.exp(-(begin - self.since_s) / self.tau_s) * -math.expm1(-(end - begin) / self.tau_s)
        moving = self.target * (end - begin) + (self.start - self.target) * self.tau_s * decay
        return (self.start * (begin - from_s) + moving) / (to_s - from_s)

    def toward(self, target: float, tau_s: float, now: float) -> Approach:
        """The same voltage with a new target from `now` on, without a jump."""
        return Approach(self.at(now), target, max(now, self.since_s), tau_s)
