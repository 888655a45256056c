"""The small drawing beside a reading: the window between its limits, the guard strips hatched, the value with its U."""

from __future__ import annotations

from collections.abc import Iterator

from markupsafe import Markup, escape

from batchtest.nouns import Limit, Line, Verdict
from batchtest.pages.axis import Axis, axis_for
from batchtest.pages.scale import Scale

WIDTH = 160.0
HEIGHT = 18.0
_MIDDLE = HEIGHT / 2


def bar_axis(lines: list[Line]) -> Axis:
    """One axis for lines that are compared with each other, such as one rail at all its load points."""
    limits = [line.measurement.limit for line in lines if line.measurement.limit is not None]
    return axis_for(limits, (line.reading.value for line in lines if line.reading.value is not None), WIDTH)


def bar(line: Line, axis: Axis, scale: Scale) -> Markup:
    """Draw one line; empty where there is no limit to lie between."""
    limit = line.measurement.limit
    if limit is None or (limit.lower is None and limit.upper is None):
        return Markup("")
    guard = line.judgement.guard if line.judgement else 0.0
    shapes = "".join((*window(limit, guard, axis, HEIGHT), *_value(line, axis)))
    label = escape(f"{scale.reading(line.reading)}, limits {scale.limits(limit)}")
    return Markup(
        f'<svg class="bar" viewBox="-6 0 {WIDTH + 12:g} {HEIGHT:g}" role="img" aria-label="{label}">{shapes}</svg>'
    )


def window(limit: Limit, guard: float, axis: Axis, height: float) -> Iterator[str]:
    """The band between the limits, its guard strips and its ends; an open side runs off the drawing."""
    lower, upper = _seen(limit.lower, axis), _seen(limit.upper, axis)
    left = 0.0 if lower is None else axis.at(lower)
    right = axis.width if upper is None else axis.at(upper)
    yield f'<path d="M0 {height / 2:g}H{axis.width:g}" class="line"/>'
    yield _rect(left, right, height, "window")
    if lower is not None:
        yield from _end(left, min(right, axis.at(lower + guard)), height)
    if upper is not None:
        yield from _end(right, max(left, axis.at(upper - guard)), height)


def _end(outer: float, inner: float, height: float) -> Iterator[str]:
    """One limit: its hatched strip inwards, and its line."""
    if inner != outer:
        yield _rect(min(outer, inner), max(outer, inner), height, "guard")
    yield f'<path d="M{outer:g} 1V{height - 1:g}" class="limit"/>'


def _seen(bound: float | None, axis: Axis) -> float | None:
    """A bound that lies on the drawing; a close-up leaves the other one out."""
    return None if bound is None or axis.side(bound) else bound


def _rect(left: float, right: float, height: float, name: str) -> str:
    return f'<rect x="{left:g}" y="3" width="{right - left:g}" height="{height - 6:g}" class="{name}"/>'


def _value(line: Line, axis: Axis) -> Iterator[str]:
    """The whisker of U and the marker; an arrow where the value lies off the drawing."""
    value = line.reading.value if line.reading.value is not None else line.reading.beyond
    verdict = line.judgement.verdict if line.judgement else Verdict.UNREAD
    if value is None:
        return
    side = 1 if line.reading.value is None else axis.side(value)
    if side:
        yield arrow(axis.width if side > 0 else 0.0, _MIDDLE, side, verdict)
        return
    if spread := line.reading.uncertainty:
        yield f'<path d="M{axis.at(value - spread):g} {_MIDDLE:g}H{axis.at(value + spread):g}" class="whisker"/>'
    yield dot(axis.at(value), _MIDDLE, verdict)


def dot(x: float, y: float, verdict: Verdict) -> str:
    """A value's marker: a dot passes, a diamond fails, a half-filled ring is doubtful, an empty ring not judged."""
    if verdict is Verdict.FAIL:
        return f'<path d="M{x:g} {y - 6:g}l6 6-6 6-6-6z" class="dot-fail"/>'
    if verdict is Verdict.DOUBTFUL:
        return (
            f'<circle cx="{x:g}" cy="{y:g}" r="4.6" class="dot-open"/>'
            f'<path d="M{x:g} {y - 4.6:g}a4.6 4.6 0 0 0 0 9.2z" class="ink"/>'
        )
    return f'<circle cx="{x:g}" cy="{y:g}" r="4.4" class="{"dot-pass" if verdict is Verdict.PASS else "dot-open"}"/>'


def arrow(x: float, y: float, side: int, verdict: Verdict) -> str:
    """A triangle at the end of a drawing: the value lies further on."""
    name = {Verdict.PASS: "dot-pass", Verdict.FAIL: "dot-fail"}.get(verdict, "dot-open")
    return f'<path d="M{x + 5 * side:g} {y:g}l{-11 * side:g} -6.5v13z" class="{name}"/>'
