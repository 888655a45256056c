"""Watching one value settle, set after set of its raw values."""

from __future__ import annotations

import math
import statistics

from batchtest.measuring.raw import RawSet
from batchtest.measuring.settling import SHARE, SIGMAS, Mean, is_settled, still_to_come

#: So many sets in a row that do not all go the same way show a restless value, not one that is on its way.
RESTLESS = 3


class Watch:
    """Sees each set that is taken of one value, and says when it has settled; `tau_s` is its time constant, s."""

    def __init__(self, tau_s: float) -> None:
        self._tau_s = tau_s
        self._means: list[Mean] = []

    def sees_settled(self, found: RawSet, noise: float, guard: float) -> bool:
        """Whether the value had settled when this set was taken.

        One set is enough where its first and last value agree within the noise that is known. Where they do not, the
        value may be restless rather than on its way: then sets must go up and down, within the noise that they show.

        Parameters
        ----------
        noise : what is known of one raw value's standard deviation, base unit.
        guard : guard band of the mean, base unit.
        """
        if found.over:
            return True
        if not found.finite:
            self._means.clear()
            return False
        self._means.append(_mean(found))
        return is_settled(*_ends(found, noise), guard, self._tau_s) or self._is_restless(guard)

    def _is_restless(self, guard: float) -> bool:
        first, now, latest = self._means[0], self._means[-1], [mean.value for mean in self._means[-RESTLESS:]]
        if len(latest) < RESTLESS or latest in (sorted(latest), sorted(latest, reverse=True)):
            return False
        agree = max(latest) - min(latest) <= SHARE * guard + SIGMAS * now.noise
        return agree and still_to_come(first, now, self._tau_s) <= SHARE * guard


def _mean(found: RawSet) -> Mean:
    count = len(found.values)
    middle_s = found.from_s + count * found.each_s / 2
    return Mean(found.mean, statistics.stdev(found.values) / math.sqrt(count), middle_s)


def _ends(found: RawSet, noise: float) -> tuple[Mean, Mean]:
    """First and last raw value of a set."""
    apart_s = (len(found.values) - 1) * found.each_s
    return Mean(found.values[0], noise, found.from_s), Mean(found.values[-1], noise, found.from_s + apart_s)
