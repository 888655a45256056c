"""What is known of the scatter of raw values, before and after a set of them was taken."""

from __future__ import annotations

import math
import statistics

from batchtest.judging.spread import OUTLYING, PooledSpread, SpreadKey
from batchtest.measuring.accuracies import Accuracies
from batchtest.measuring.raw import RawSet
from batchtest.nouns import Measurand


class Spreads:
    """Scatter of one raw value, per function, range and integration; of a whole batch, and one bench."""

    def __init__(self, accuracies: Accuracies) -> None:
        self._accuracies = accuracies
        self._pooled = PooledSpread()
        self._known: dict[SpreadKey, float] = {}

    def known(self, measurand: Measurand, found: RawSet) -> float:
        """Standard deviation that a raw value has by the data sheet and by all sets pooled so far, base unit.

        Below one line cycle hum is most of it, and hum in volts is the same on every range.
        """
        key = self._accuracies.key(measurand, found.range, found.nplc)
        white = self._accuracies.noise(measurand, found.range, found.nplc)
        hums = not (found.nplc >= 1 and float(found.nplc).is_integer())
        alike = [
            spread
            for other, spread in self._known.items()
            if other == key or (hums and (other.function, other.nplc) == (key.function, key.nplc))
        ]
        return max(white, *alike, 0.0)

    def pool(self, measurand: Measurand, found: RawSet) -> float:
        """Add a set of a settled value to what is known, and give the spread that it is credited with, base unit."""
        key = self._accuracies.key(measurand, found.range, found.nplc)
        white = self._accuracies.noise(measurand, found.range, found.nplc)
        spread = self._pooled.of(key, found.values, white)
        if spread <= OUTLYING * self._known.get(key, math.inf):  # a restless rail is not the meter's noise
            self._known[key] = spread
        return spread

    def alone(self, measurand: Measurand, found: RawSet) -> float:
        """Spread of a set that may still be on its way, and tells nothing of other sets, base unit."""
        return max(self.known(measurand, found), statistics.stdev(found.values))
