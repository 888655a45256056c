"""A chart of one quantity over another: a frame, ticks at round values, and where a point lies in it."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from markupsafe import escape

from batchtest.pages.scale import Scale, scale_for

#: Room around the frame for numbers and names, drawing units.
LEFT, RIGHT, TOP, BOTTOM = 52.0, 14.0, 12.0, 40.0
#: About so many ticks on an axis.
_TICKS = 5
#: What a step between ticks may be, times a power of ten.
_ROUND = (1.0, 2.0, 2.5, 5.0, 10.0)


@dataclass(frozen=True, slots=True)
class Span:
    """The values along one side of a chart, base unit, from the first tick to the last."""

    ticks: tuple[float, ...]
    scale: Scale

    @property
    def start(self) -> float:
        """The first tick."""
        return self.ticks[0]

    @property
    def end(self) -> float:
        """The last tick."""
        return self.ticks[-1]

    def share(self, value: float) -> float:
        """Where a value lies, 0 to 1, held inside."""
        return min(1.0, max(0.0, (value - self.start) / (self.end - self.start)))


@dataclass(frozen=True, slots=True)
class Chart:
    """A frame of `width` by `height` drawing units over two spans."""

    x: Span
    y: Span
    width: float = 480.0
    height: float = 300.0

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Where a point lies on the drawing."""
        across, down = self.width - LEFT - RIGHT, self.height - TOP - BOTTOM
        return round(LEFT + self.x.share(x) * across, 1), round(TOP + (1 - self.y.share(y)) * down, 1)

    def path(self, points: Iterable[tuple[float, float]]) -> str:
        """The commands of a line through points."""
        return "M" + "L".join(f"{x:g} {y:g}" for x, y in (self.at(*point) for point in points))

    def frame(self, x_name: str, y_name: str) -> Iterator[str]:
        """Lines and numbers at the ticks, and what the sides are."""
        bottom = self.height - BOTTOM
        for tick in self.y.ticks:
            _, y = self.at(self.x.start, tick)
            yield f'<path d="M{LEFT:g} {y:g}H{self.width - RIGHT:g}" class="line"/>'
            yield f'<text x="{LEFT - 6:g}" y="{y + 4:g}" class="tick side">{self.y.scale.bound(tick)}</text>'
        for tick in self.x.ticks:
            x, _ = self.at(tick, self.y.start)
            yield f'<path d="M{x:g} {bottom:g}v5" class="limit"/>'
            yield f'<text x="{x:g}" y="{bottom + 18:g}" class="tick">{self.x.scale.bound(tick)}</text>'
        yield f'<path d="M{LEFT:g} {TOP:g}V{bottom:g}H{self.width - RIGHT:g}" class="limit"/>'
        middle = (LEFT + self.width - RIGHT) / 2
        below = f"{escape(x_name)}, {self.x.scale.written}"
        yield f'<text x="{middle:g}" y="{self.height - 4:g}" class="tick">{below}</text>'
        turned = f"rotate(-90 12 {(TOP + bottom) / 2:g})"
        name = f"{escape(y_name)}, {self.y.scale.written}"
        yield f'<text x="12" y="{(TOP + bottom) / 2:g}" transform="{turned}" class="tick">{name}</text>'


def span_of(values: Sequence[float], unit: str, *, from_zero: bool = False) -> Span:
    """A span with round ticks that holds all values.

    >>> span_of([0.0, 0.19], "A").ticks
    (0.0, 0.05, 0.1, 0.15, 0.2)
    """
    low, high = min(values), max(values)
    low = min(0.0, low) if from_zero else low
    if high - low <= 1e-9 * max(abs(high), abs(low), 1e-9):
        low, high = low - 0.5 * (abs(low) or 1.0), high + 0.5 * (abs(high) or 1.0)
    step = _round_step((high - low) / _TICKS)
    first, last = math.floor(low / step + 1e-9), math.ceil(high / step - 1e-9)
    ticks = tuple(round(number * step, 12) for number in range(first, last + 1))
    scale = scale_for([max(abs(ticks[0]), abs(ticks[-1]))], unit)
    return Span(ticks, Scale("s", min(0, scale.power), scale.decimals) if unit == "s" else scale)


def _round_step(least: float) -> float:
    power = 10.0 ** math.floor(math.log10(least))
    return next(factor for factor in _ROUND if factor * power >= least * 0.999) * power
