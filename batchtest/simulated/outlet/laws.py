"""How the resistance of what is in series with an outlet follows its temperature: a resistor, a resettable fuse.

A resettable fuse is a polymer filled so that it conducts. It melts at its switch temperature, grows, and its resistance
rises by powers of ten; it freezes again some kelvin lower, so that on the way down the rise ends later than it began
(hysteresis), and is left with more resistance than before. The shape is common knowledge of such parts; the numbers are
the demo's own, no part's.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Protocol

#: Temperature at which cold resistances are given, C.
COLD_C = 20.0


class Law(Protocol):
    """Resistance over temperature."""

    @property
    def trips_C(self) -> float:
        """Molten so far a part has tripped, C; infinite where it never does."""
        ...

    def followed(self, melted_C: float, temperature_C: float) -> float:
        """The memory of how far a part had molten, C, moved on to a temperature."""
        ...

    def ohm(self, temperature_C: float, melted_C: float) -> float:
        """Resistance, ohm."""
        ...


@dataclass(frozen=True, slots=True)
class ResistorLaw:
    """A resistor: `per_kelvin` is its temperature coefficient, 1/K."""

    cold_ohm: float
    per_kelvin: float

    @property
    def trips_C(self) -> float:
        """Never."""
        return math.inf

    def followed(self, melted_C: float, temperature_C: float) -> float:
        """It has none."""
        return temperature_C

    def ohm(self, temperature_C: float, melted_C: float) -> float:
        """Resistance, ohm."""
        return self.cold_ohm * (1 + self.per_kelvin * (temperature_C - COLD_C))


@dataclass(frozen=True, slots=True)
class FuseLaw:
    """A resettable fuse: R = cold (1 + a (T - 20 C)) 10^(d S((m - switch) / w)), S the logistic function.

    m is the temperature up to which it counts as molten: T on the way up, and up to `lag_K` more on the way down.

    Parameters
    ----------
    cold_ohm : resistance at 20 C.
    switch_C : middle of the rise, C.
    """

    cold_ohm: float
    switch_C: float
    per_kelvin: float = 0.003
    decades: float = 4.0
    width_K: float = 3.5
    lag_K: float = 12.0

    @property
    def trips_C(self) -> float:
        """Where the resistance has risen tenfold: d S = 1."""
        return self.switch_C - self.width_K * math.log(self.decades - 1)

    def followed(self, melted_C: float, temperature_C: float) -> float:
        """It follows upward at once, and downward once the temperature is `lag_K` below it."""
        return min(max(melted_C, temperature_C), temperature_C + self.lag_K)

    def ohm(self, temperature_C: float, melted_C: float) -> float:
        """Resistance, ohm."""
        # The warmth below the switch has no memory: the lag counts only where something had molten.
        molten = 1.0 / (1.0 + math.exp(min(700.0, (self.switch_C - melted_C) / self.width_K)))
        return self.cold_ohm * (1 + self.per_kelvin * (temperature_C - COLD_C)) * 10 ** (self.decades * molten)
