"""Watching one value settle, set after set of its raw values."""

from __future__ import annotations

import math
import statistics

from batchtest.measuring.raw import RawSet
from batchtest.measuring.settling import SHARE, Mean, is_settled, stands_still, still_to_come


class Watch:
    """Sees each set that is taken of one value, and says when it has settled; `tau_s` is its time constant, s."""

    def __init__(self, tau_s: float) -> None:
        self._tau_s = tau_s
        self._first: Mean | None = None
        self._latest: Mean | None = None

    def sees_settled(self, found: RawSet, noise: float, guard: float) -> bool:
        """Whether the value had settled when this set was taken.

        One set is enough where its first and last value agree within the noise that is known. Where they do not, the
        rail may be restless rather than on its way: then the means of sets are compared, by the noise that they show.

        Parameters
        ----------
        noise : what is known of one raw value's standard deviation, base unit; 0 where nothing is.
        guard : guard band of the mean, base unit.
        """
        if found.over:
            return True
        if not found.finite:
            self._first = self._latest = None
            return False
        first, before, now = self._first, self._latest, _mean(found)
        self._first, self._latest = first or now, now
        if noise > 0 and is_settled(*_ends(found, noise), guard, self._tau_s):
            return True
        if first is None or before is None:
            return False
        return stands_still(before, now, guard) and still_to_come(first, now, self._tau_s) <= SHARE * guard


def _mean(found: RawSet) -> Mean:
    count = len(found.values)
    middle_s = found.from_s + count * found.each_s / 2
    return Mean(found.mean, statistics.stdev(found.values) / math.sqrt(count), middle_s)


def _ends(found: RawSet, noise: float) -> tuple[Mean, Mean]:
    """First and last raw value of a set."""
    apart_s = (len(found.values) - 1) * found.each_s
    return Mean(found.values[0], noise, found.from_s), Mean(found.values[-1], noise, found.from_s + apart_s)
