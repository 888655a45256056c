"""The voltage of an outlet over the current drawn, as measured: straight between the points, with a band about it."""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from batchtest.capacity.fits import Errors
from batchtest.capacity.model import Band, Point


@dataclass(frozen=True, slots=True)
class Knot:
    """One current of a curve, A, the voltage there, V, and how far that may be off, either side, V."""

    current_A: float
    voltage_V: float
    within_V: float


@dataclass(frozen=True, slots=True)
class Curve:
    """Knots, currents rising from the lowest that was measured. Beyond the last knot the last piece is drawn on."""

    knots: tuple[Knot, ...]

    @property
    def last_A(self) -> float:
        """The largest current that was measured and held."""
        return self.knots[-1].current_A

    def at(self, current_A: float) -> Band:
        """The voltage at a current, with its band. Between knots half of the bend to either side widens the band."""
        place = min(max(bisect_right([knot.current_A for knot in self.knots], current_A), 1), len(self.knots) - 1)
        left, right = self.knots[place - 1], self.knots[place]
        along = (current_A - left.current_A) / (right.current_A - left.current_A)
        value = left.voltage_V + along * (right.voltage_V - left.voltage_V)
        inside = min(max(along, 0.0), 1.0)
        ends = left.within_V + inside * (right.within_V - left.within_V)
        within = ends * max(1.0, along) + self._bend_V(place) * 4 * inside * (1 - inside)
        return Band(value=value, lower=value - within, upper=value + within)

    def largest_A(self, floor_V: float) -> float:
        """The largest measured current at which the voltage is surely at or above a floor, A; 0 where it never is.

        Bisects between the knots: a source's voltage falls with the current.
        """
        if self.at(self.last_A).lower >= floor_V:
            return self.last_A
        good, bad = self.knots[0].current_A, self.last_A
        if self.at(good).lower < floor_V:
            return 0.0
        while bad - good > 1e-9 + 1e-6 * bad:
            middle = (good + bad) / 2
            good, bad = (middle, bad) if self.at(middle).lower >= floor_V else (good, middle)
        return good

    def changed(self, *, ohm: Band, less_V: float = 0.0) -> Curve:
        """The curve with a resistance added in series (negative: taken away), and the whole of it lowered by `less_V`.

        What is not known of the resistance widens the band.
        """
        half = (ohm.upper - ohm.lower) / 2
        middle = (ohm.upper + ohm.lower) / 2
        return replace(
            self,
            knots=tuple(
                Knot(
                    knot.current_A,
                    knot.voltage_V - middle * knot.current_A - less_V,
                    knot.within_V + half * knot.current_A,
                )
                for knot in self.knots
            ),
        )

    def _bend_V(self, place: int) -> float:
        """How far a curve may lie from the chord between two knots: the change of slope times its length, over 8."""
        slopes = [
            (b.voltage_V - a.voltage_V) / (b.current_A - a.current_A)
            for a, b in pairwise(self.knots[max(place - 2, 0) : place + 2])
        ]
        length = self.knots[place].current_A - self.knots[place - 1].current_A
        return max((abs(b - a) for a, b in pairwise(slopes)), default=0.0) * length / 8


def curve(points: Sequence[Point], shared: Errors) -> Curve | None:
    """The curve through the regulated points of a sweep, its open circuit included; up and down are averaged.

    The band is a bound, not a probability: meter and load at the ends of their accuracy, two deviations of noise.

    Returns
    -------
    `None` where fewer than two different currents were held.
    """
    held = [point for point in points if point.voltage.value is not None and point.voltage.regulated]
    currents = sorted({point.current_A for point in held})
    if len(currents) < 2:
        return None
    readings = {current: [point.voltage for point in held if point.current_A == current] for current in currents}
    volts = {current: math.fsum(v.value or 0.0 for v in found) / len(found) for current, found in readings.items()}
    steepest = max(abs(volts[b] - volts[a]) / (b - a) for a, b in pairwise(currents))
    knots = []
    for current, voltage_V in volts.items():
        noise = max(2 * (reading.spread or 0.0) for reading in readings[current])
        meter = shared.meter_gain * abs(voltage_V) + shared.meter_offset_V
        load = steepest * (shared.load_gain * current + shared.load_offset_A) if current else 0.0
        knots.append(Knot(current, voltage_V, meter + load + noise))
    return Curve(tuple(knots))
