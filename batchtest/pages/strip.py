"""A dot for every board between the limits of one rail: the batch at a glance, without a figure of merit."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from statistics import median

from markupsafe import Markup, escape

from batchtest.nouns import Limit, Line, Phase, Verdict
from batchtest.pages.axis import Axis, axis_for
from batchtest.pages.bar import arrow, dot, window
from batchtest.pages.scale import Scale, scale_of
from batchtest.quantities import show

_WIDTH = 420.0
_HEIGHT = 62.0
#: Sizes of a dot, the largest that lets all boards show is taken.
_RADII = (4.4, 3.2, 2.4)


@dataclass(frozen=True, slots=True)
class BoardLine:
    """A line and whose it is."""

    serial: str
    line: Line


@dataclass(frozen=True, slots=True, kw_only=True)
class Strip:
    """One rail at its full load, all boards: what stands above the drawing, the drawing, and what stands below."""

    title: str
    drawing: Markup
    said: str
    outside: tuple[str, ...]


def strips(boards: Iterable[tuple[str, Sequence[Line]]]) -> tuple[Strip, ...]:
    """A strip for every rail with a limit, at its highest load point; other limits make another strip."""
    found: dict[tuple[str, Limit], list[BoardLine]] = {}
    for serial, lines in boards:
        for line in _at_full_load(lines):
            if limit := line.measurement.limit:
                found.setdefault((line.measurement.point, limit), []).append(BoardLine(serial, line))
    return tuple(_strip(point, limit, together) for (point, limit), together in found.items())


def _at_full_load(lines: Sequence[Line]) -> list[Line]:
    last: dict[str, Line] = {}
    for line in lines:
        if line.measurement.phase is Phase.LOAD:
            last[line.measurement.point] = max(
                line, last.get(line.measurement.point, line), key=lambda known: known.measurement.load_point or 0
            )
    return list(last.values())


def _strip(point: str, limit: Limit, together: list[BoardLine]) -> Strip:
    scale = scale_of(known.line for known in together)
    drawn = together[0].line.measurement.load_A
    values = [value for known in together if (value := known.line.reading.value) is not None]
    return Strip(
        title=point if drawn is None else f"{point} at {show(drawn, 'A', 3)}",
        drawing=_drawing(limit, together, values, scale),
        said=_said(values, len(together), scale),
        outside=tuple(
            f"{known.serial} {scale.reading(known.line.reading)}"
            for known in together
            if _verdict(known) is not Verdict.PASS
        ),
    )


def _said(values: Sequence[float], boards: int, scale: Scale) -> str:
    if not values:
        return f"n = {boards}, no reading"
    missing = f", {boards - len(values)} without a reading" if boards > len(values) else ""
    low, high = scale.number(min(values)), scale.of(max(values))
    return f"n = {boards}{missing}: {low} to {high}, median {scale.of(median(values))}"


def _drawing(limit: Limit, together: list[BoardLine], values: Sequence[float], scale: Scale) -> Markup:
    axis = axis_for([limit], values, _WIDTH)
    guard = max((known.line.judgement.guard for known in together if known.line.judgement), default=0.0)
    shapes = "".join((*window(limit, guard, axis, _HEIGHT), *_dots(together, axis), *_ticks(limit, axis, scale)))
    label = escape(f"{len(values)} boards, limits {scale.limits(limit)}")
    box = f"-12 0 {_WIDTH + 24:g} {_HEIGHT + 16:g}"
    return Markup(f'<svg class="strip" viewBox="{box}" role="img" aria-label="{label}">{shapes}</svg>')


def _ticks(limit: Limit, axis: Axis, scale: Scale) -> Iterator[str]:
    for bound in (limit.lower, limit.upper):
        if bound is not None:
            x, text = axis.at(bound), f"{scale.bound(bound)} {scale.written}"
            yield f'<text x="{x:g}" y="{_HEIGHT + 13:g}" class="tick">{escape(text)}</text>'


def _dots(together: list[BoardLine], axis: Axis) -> Iterator[str]:
    """Boards that would cover each other are stacked; those off the axis are counted at an arrow."""
    places = [(known, known.line.reading.value) for known in together if known.line.reading.value is not None]
    beyond = Counter(side for _, value in places if (side := axis.side(value)))
    within = [known for known, value in places if not axis.side(value)]
    radius = next((size for size in _RADII if _fits(_columns(within, axis, size), size)), _RADII[-1])
    for column in _columns(within, axis, radius):
        yield from _stack(column, axis, radius)
    for side, count in beyond.items():
        x = axis.width if side > 0 else 0.0
        yield arrow(x, _HEIGHT / 2, side, Verdict.FAIL)
        yield f'<text x="{x - 14 * side:g}" y="{_HEIGHT / 2 + 4:g}" class="tick">{count}</text>'


def _columns(within: list[BoardLine], axis: Axis, radius: float) -> list[list[BoardLine]]:
    """Boards side by side where they have room, on top of each other where they have none."""
    columns: dict[int, list[BoardLine]] = {}
    for known in within:
        columns.setdefault(round(axis.at(known.line.reading.value or 0.0) / (2 * radius)), []).append(known)
    return list(columns.values())


def _fits(columns: list[list[BoardLine]], radius: float) -> bool:
    return max(map(len, columns), default=0) * 2 * radius <= _HEIGHT - 12


def _stack(column: list[BoardLine], axis: Axis, radius: float) -> Iterator[str]:
    step = min(2 * radius, (_HEIGHT - 12 - 2 * radius) / max(1, len(column) - 1))
    bottom = _HEIGHT / 2 + step * (len(column) - 1) / 2
    for number, known in enumerate(column):
        x, y = axis.at(known.line.reading.value or 0.0), bottom - number * step
        verdict = _verdict(known)
        shape = (
            f'<circle cx="{x:g}" cy="{y:.1f}" r="{radius:g}" class="dot-board"/>'
            if verdict is Verdict.PASS
            else dot(x, y, verdict)
        )
        yield f"<g><title>{escape(known.serial)}</title>{shape}</g>"


def _verdict(known: BoardLine) -> Verdict:
    return known.line.judgement.verdict if known.line.judgement else Verdict.UNREAD
