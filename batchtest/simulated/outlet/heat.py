"""A part that its own current heats: C dT/dt = I^2 R(T) - D (T - ambient), integrated as it is asked for.

The current is what the circuit drives through the part at its resistance of the moment. The integration is the pair of
Bogacki and Shampine of orders 3 and 2, its step chosen by the difference of the two.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable
from dataclasses import dataclass

from batchtest.simulated.outlet.laws import Law

#: Error of one step that is let pass, K; shortest and longest step, s.
_ERROR_K, _SHORTEST_S, _LONGEST_S = 1e-4, 1e-7, 100.0


@dataclass(frozen=True, slots=True)
class Body:
    """How a part sheds and stores heat: W/K to the air, J/K, and the temperature of that air, C."""

    dissipation_W_K: float
    capacity_J_K: float
    ambient_C: float


@dataclass(frozen=True, slots=True)
class Warmth:
    """A part's temperature and the temperature up to which it counts as molten, C."""

    temperature_C: float
    melted_C: float


@dataclass(frozen=True, slots=True)
class _Knot:
    time_s: float
    warmth: Warmth
    slope_K_s: float


class Warming:
    """The way of a part's temperature from one moment on, under one drive.

    Parameters
    ----------
    amperes : current through the part, A, by its resistance, ohm.
    growth : factor on the law's resistance by time, s; it changes slowly.
    """

    def __init__(
        self,
        law: Law,
        body: Body,
        amperes: Callable[[float], float],
        start: Warmth,
        since_s: float = 0.0,
        growth: Callable[[float], float] = lambda _: 1.0,
    ) -> None:
        self.law, self.body, self.since_s = law, body, since_s
        self._amperes, self._growth = amperes, growth
        self._step_s = 1e-3
        slope_K_s = self._slope(start.temperature_C, start.melted_C, growth(since_s))
        self._knots = [_Knot(since_s, start, slope_K_s)]

    def at(self, time_s: float) -> Warmth:
        """How warm it is at a moment; before the start it is as at the start."""
        if time_s <= self.since_s:
            return self._knots[0].warmth
        while self._knots[-1].time_s < time_s:
            self._advance()
        place = bisect_right(self._knots, time_s, key=lambda knot: knot.time_s)
        return self._between(self._knots[place - 1], self._knots[min(place, len(self._knots) - 1)], time_s)

    def ohm(self, time_s: float) -> float:
        """Resistance at a moment, ohm."""
        warmth = self.at(time_s)
        return self.law.ohm(warmth.temperature_C, warmth.melted_C) * self._growth(time_s)

    def first(self, holds: Callable[[Warmth], bool], until_s: float) -> float | None:
        """The first moment at which something holds, s, to a millisecond; `None` where it does not until then."""
        place = 0
        while not holds(self._knots[place].warmth):
            if self._knots[place].time_s >= until_s:
                return None
            place += 1
            if place == len(self._knots):
                self._advance()
        if place == 0:
            return self.since_s
        low_s, high_s = self._knots[place - 1].time_s, self._knots[place].time_s
        while high_s - low_s > 1e-3:
            middle_s = (low_s + high_s) / 2
            low_s, high_s = (low_s, middle_s) if holds(self.at(middle_s)) else (middle_s, high_s)
        return high_s if high_s <= until_s else None

    def _slope(self, temperature_C: float, melted_C: float, growth: float) -> float:
        ohm = self.law.ohm(temperature_C, self.law.followed(melted_C, temperature_C)) * growth
        amperes = self._amperes(ohm)
        shed_W = self.body.dissipation_W_K * (temperature_C - self.body.ambient_C)
        return (amperes * amperes * ohm - shed_W) / self.body.capacity_J_K

    def _advance(self) -> None:
        """One more knot."""
        last = self._knots[-1]
        start_C, melted_C, first = last.warmth.temperature_C, last.warmth.melted_C, last.slope_K_s
        growth = self._growth(last.time_s)
        while True:
            step_s = self._step_s
            second = self._slope(start_C + step_s * first / 2, melted_C, growth)
            third = self._slope(start_C + step_s * second * 3 / 4, melted_C, growth)
            end_C = start_C + step_s * (2 * first + 3 * second + 4 * third) / 9
            fourth = self._slope(end_C, melted_C, growth)
            error_K = step_s * abs(-5 * first / 72 + second / 12 + third / 9 - fourth / 8)
            grown = 0.9 * (_ERROR_K / max(error_K, 1e-12)) ** (1 / 3)
            self._step_s = min(max(step_s * min(max(grown, 0.2), 4.0), _SHORTEST_S), _LONGEST_S)
            if error_K <= _ERROR_K or step_s <= _SHORTEST_S:
                break
        warmth = Warmth(end_C, self.law.followed(melted_C, end_C))
        self._knots.append(_Knot(last.time_s + step_s, warmth, fourth))

    def _between(self, before: _Knot, after: _Knot, time_s: float) -> Warmth:
        """Cubic through two knots with their slopes."""
        width_s = after.time_s - before.time_s
        if width_s <= 0:
            return before.warmth
        x = (time_s - before.time_s) / width_s
        start_C, end_C = before.warmth.temperature_C, after.warmth.temperature_C
        bend = before.slope_K_s * width_s * x * (1 - x) ** 2 - after.slope_K_s * width_s * x * x * (1 - x)
        now_C = start_C + (end_C - start_C) * x * x * (3 - 2 * x) + bend
        return Warmth(now_C, self.law.followed(before.warmth.melted_C, now_C))
