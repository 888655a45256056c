"""The host's own fuse, before everything: a wire that its current heats until it opens, for good."""

from __future__ import annotations

import math
from dataclasses import dataclass

#: It opens above this multiple of its rating, given time; its time constant, s (common practice, no source).
OPENS_AT, SLOW_S = 1.5, 2.0


@dataclass(slots=True)
class UpstreamFuse:
    """A fuse of a rating, A; `math.inf` never opens. Its heat is (current / rating)^2, followed with a time constant.

    >>> fuse = UpstreamFuse(1.0)
    >>> fuse.carry(2.0, 1.6), fuse.carry(2.0, 0.1)
    (False, True)
    """

    rating_A: float
    heat: float = 0.0
    opened: bool = False

    def carry(self, amperes: float, seconds: float) -> bool:
        """Carry a current for a time; whether it is open then."""
        goal = (amperes / self.rating_A) ** 2
        self.heat = goal + (self.heat - goal) * math.exp(-max(0.0, seconds) / SLOW_S)
        self.opened = self.opened or self.heat > OPENS_AT**2
        return self.opened

    def renew(self) -> None:
        """A new one of the same rating."""
        self.heat, self.opened = 0.0, False
