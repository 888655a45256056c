"""What every pin of a live host must read, from its circuit alone; and what two swapped pins would make of that."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations, product

import numpy as np

from batchtest.circuits import draw_all, nominal_values
from batchtest.files.host_fixture import pin_of
from batchtest.files.hosts import HostSetup
from batchtest.judging.accuracy import half_width, pick_range, row_for
from batchtest.nouns import Limit
from batchtest.procedure.host_model import HostModel, Pair, at_mains
from batchtest.procedure.windows import INSTRUMENTS, SIGMAS

#: Hosts drawn from the part tolerances at each corner of mains and temperature.
HOSTS = 32
#: Coldest and warmest workshop, C (common practice, no source).
COLDEST_C, WARMEST_C = 18.0, 28.0
ROOM_C = 23.0
#: On this range and above the input of common meters is 10 Mohm, whatever it is below (common practice, no source), V.
TEN_MEGOHM_V = 100.0
#: A pin on which nothing hangs reads nothing, V: within what earns a zero.
NOTHING = Limit(lower=-0.05, upper=0.05, source="nothing hangs on this pin")


@dataclass(frozen=True, slots=True)
class Window:
    """What a pair of pins reads: with nominal parts, and the least and most of drawn hosts, V."""

    nominal: float
    lower: float
    upper: float

    @property
    def reversed(self) -> Window:
        """The same pair with plus and minus swapped."""
        return Window(-self.nominal, -self.upper, -self.lower)


@dataclass(frozen=True, slots=True)
class PinWindows:
    """The windows of a live host.

    Parameters
    ----------
    points : point of the fixture -> its plus and minus pin.
    limits : point -> what it must read, the meter's own error included.
    range : the meter's range for all of them, V.
    between : pair of pins, the lower first -> what it reads.
    """

    points: Mapping[str, Pair]
    limits: Mapping[str, Limit]
    range: float
    between: Mapping[Pair, Window]
    unused: tuple[int, ...]

    def window(self, pair: Pair) -> Window:
        """What a meter between two pins reads."""
        return self.between[pair] if pair in self.between else self.between[pair[::-1]].reversed

    def swapped(self, pins: Pair) -> dict[str, Window]:
        """What every point reads where two pins are swapped between the host and the plug."""
        other = {pins[0]: pins[1], pins[1]: pins[0]}
        return {
            name: self.window((other.get(plus, plus), other.get(minus, minus)))
            for name, (plus, minus) in self.points.items()
        }

    def explained(self, readings: Mapping[str, float]) -> list[Pair]:
        """The swaps of two pins that give every one of these readings (V, by point)."""
        return [pair for pair in self._pairs() if self._agrees(self.swapped(pair), readings)]

    def alike(self) -> list[Pair]:
        """The swaps that no voltage here is sure to tell: the pins are at one voltage."""
        return [
            pair
            for pair in self._pairs()
            if not any(self._tells(name, window) for name, window in self.swapped(pair).items())
        ]

    def _pairs(self) -> list[Pair]:
        pins = sorted({pin for pair in self.points.values() for pin in pair})
        return list(combinations(pins, 2))

    def _tells(self, name: str, swapped: Window) -> bool:
        limit = self.limits[name]
        assert limit.lower is not None, "windows have both"
        assert limit.upper is not None, "windows have both"
        return swapped.upper < limit.lower or swapped.lower > limit.upper

    def _agrees(self, swapped: Mapping[str, Window], readings: Mapping[str, float]) -> bool:
        slack = {name: self._slack(name) for name in readings}
        return all(
            swapped[name].lower - slack[name] <= volts <= swapped[name].upper + slack[name]
            for name, volts in readings.items()
        )

    def _slack(self, name: str) -> float:
        """What a point's limits allow for the meter, V."""
        limit, window = self.limits[name], self.window(self.points[name])
        return max((limit.upper or 0.0) - window.upper, 0.0)


def pin_windows(setup: HostSetup, model: HostModel) -> PinWindows:
    """Solve the windows of a host: parts drawn, mains as far off as the fixture says, 18 to 28 C.

    Raises
    ------
    NoOperatingPoint : the circuit has no solution by itself.
    """
    between = _between(setup, model)
    points = {name: (pin_of(point.plus), pin_of(point.minus)) for name, point in setup.fixture.points.items()}
    largest = max(max(abs(window.lower), abs(window.upper)) for window in between.values())
    rows = setup.bench.meter.accuracy.volts_dc
    range_ = pick_range(rows, max(largest, min(TEN_MEGOHM_V, float(rows[-1].range))))
    bare = PinWindows(points, {}, range_, between, model.unused)
    limits = {name: _limit(setup, bare, pair) for name, pair in points.items()}
    return PinWindows(points, limits, range_, between, model.unused)


def _between(setup: HostSetup, model: HostModel) -> dict[Pair, Window]:
    """Every pair of pins, at each corner of mains and temperature."""
    pairs = list(combinations(range(1, setup.pins + 1), 2))
    off = float(setup.fixture.mains.within)
    corners = list(product((1 - off, 1 + off), (COLDEST_C, WARMEST_C)))
    shares, temperatures = (np.repeat(column, HOSTS) for column in zip(*corners, strict=True))
    values = np.tile(draw_all(model.assembly, HOSTS), (len(corners), 1))
    fed = at_mains(model.assembly, setup.circuit, values, shares)
    drawn = model.volts(fed, pairs, temperatures).reshape(len(pairs), len(corners), HOSTS)
    mean, spread = drawn.mean(axis=2), SIGMAS * drawn.std(axis=2, ddof=1)
    nominal = model.volts(nominal_values(model.assembly), pairs, ROOM_C)[:, 0]
    lower, upper = (mean - spread).min(axis=1), (mean + spread).max(axis=1)
    return {pair: Window(float(nominal[row]), float(lower[row]), float(upper[row])) for row, pair in enumerate(pairs)}


def _limit(setup: HostSetup, windows: PinWindows, pair: Pair) -> Limit:
    if set(pair) & set(windows.unused):
        return NOTHING
    window, meter = windows.window(pair), setup.bench.meter
    ambient_C = float(setup.bench.ambient or meter.calibrated_at)
    row = row_for(meter.accuracy.volts_dc, windows.range)
    largest = max(abs(window.lower), abs(window.upper))
    allowed = INSTRUMENTS * half_width(row, largest, ambient_C, float(meter.calibrated_at))
    return Limit(
        lower=window.lower - allowed,
        upper=window.upper + allowed,
        source=f"circuit alone, {HOSTS} drawn hosts, mains and temperature at their ends",
    )
