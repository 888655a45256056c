"""The drawings of an outlet's page: voltage over current with what is to hang on it, and resistance over time."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

from markupsafe import Markup, escape

from batchtest.capacity.answer import Answer
from batchtest.capacity.model import Demand, Point
from batchtest.capacity.readings import Moment
from batchtest.capacity.usable import cut_A
from batchtest.capacity.wire import drop_V
from batchtest.nouns import Phase
from batchtest.pages.chart import BOTTOM, TOP, Chart, span_of
from batchtest.quantities import show

#: Points of the band of the worst day.
_STEPS = 40


def curve_drawing(answer: Answer, demands: Sequence[Demand], less_V: float, hot_C: float) -> Markup:
    """Voltage over current, cold and hot, the worst day below it, and each demand as a mark it must stay above."""
    points = [point for point in (*answer.cold, *answer.hot) if point.voltage.value is not None]
    if not points:
        return Markup("")
    needs = [(demand, demand.minimum_V + drop_V(demand.lead, demand.peak_A, hot_C)) for demand in demands]
    budget = answer.fitted.budget if answer.fitted is not None else ()
    together_A = max((row.hot_together.outlet_A for row in budget), default=0.0)
    currents = [point.current_A for point in points]
    chart = Chart(
        span_of([0.0, *currents, *([together_A] if together_A <= 1.5 * max(currents) else [])], "A"),
        span_of([*(point.voltage.value or 0.0 for point in points), *(volts for _, volts in needs)], "V"),
    )
    shapes = [
        *chart.frame("current out of the outlet", "voltage at the outlet"),
        *_worst_day(chart, answer, less_V),
        *_sweep(chart, answer.cold, "dashes"),
        *_sweep(chart, answer.hot, "whisker"),
        *_usable(chart, answer),
        *_marks(chart, needs, together_A),
        *(shape for point in answer.cold for shape in _point(chart, point, hot=False)),
        *(shape for point in answer.hot for shape in _point(chart, point, hot=True)),
    ]
    return _svg(chart, shapes, f"Voltage of the outlet over the current drawn. {answer.sentence}")


def resistance_drawings(moments: Sequence[Moment]) -> Iterator[Markup]:
    """By how much the source resistance rose since each current began: in the hot sweep, and in the hold test."""
    for phase, said in ((Phase.HOT, "hot sweep"), (Phase.HOLD, "hold test")):
        runs = [run for run in _runs([moment for moment in moments if moment.phase is phase]) if len(run) > 1]
        if not runs:
            continue
        rises = [[(moment.since_s, moment.ohm - run[0].ohm) for moment in run] for run in runs]
        chart = Chart(
            span_of([0.0, *(since for rise in rises for since, _ in rise)], "s"),
            span_of([0.0, *(ohm for rise in rises for _, ohm in rise)], "ohm"),
            height=240.0,
        )
        shapes = [*chart.frame(f"{said}: time since the current began", "rise of resistance")]
        for run, rise in zip(runs, rises, strict=True):
            x, y = chart.at(*rise[-1])
            shapes.append(f'<path d="{chart.path(rise)}" class="whisker"/>')
            shapes.append(f'<circle cx="{x:g}" cy="{y:g}" r="3.4" class="dot-pass"/>')
            shapes.append(_label(x - 6, y - 7, show(run[0].current_A, "A", 3), "end"))
        yield _svg(chart, shapes, f"Rise of the source resistance over time in the {said}, one line a current.")


def _runs(moments: Sequence[Moment]) -> list[list[Moment]]:
    """Moments that follow one another at one current."""
    return [list(run) for _, run in groupby(moments, key=lambda moment: moment.current_A)]


def _sweep(chart: Chart, points: Sequence[Point], style: str) -> Iterator[str]:
    held = sorted(
        (point.current_A, point.voltage.value)
        for point in points
        if point.voltage.regulated and point.voltage.value is not None
    )
    if len(held) > 1:
        yield f'<path d="{chart.path(held)}" class="{style}"/>'


def _point(chart: Chart, point: Point, *, hot: bool) -> Iterator[str]:
    """A filled dot is at thermal rest, an open one of a pulse, a cross was not held."""
    if point.voltage.value is None:
        return
    x, y = chart.at(point.current_A, point.voltage.value)
    if not point.voltage.regulated:
        yield f'<path d="M{x - 5:g} {y - 5:g}l10 10m0-10l-10 10" class="limit"/>'
    elif hot:
        yield f'<circle cx="{x:g}" cy="{y:g}" r="3.6" class="dot-pass"/>'
    else:
        yield f'<circle cx="{x:g}" cy="{y:g}" r="5" class="dot-ring"/>'


def _worst_day(chart: Chart, answer: Answer, less_V: float) -> Iterator[str]:
    """The band in which the hot voltage lies with the mains at their lowest."""
    curve = answer.hot_curve
    if curve is None:
        return
    low = [(curve.last_A * step / _STEPS, curve.at(curve.last_A * step / _STEPS)) for step in range(_STEPS + 1)]
    around = [(current, band.upper) for current, band in low]
    around += [(current, band.lower - less_V) for current, band in reversed(low)]
    yield f'<path d="{chart.path(around)}Z" class="window"/>'


def _usable(chart: Chart, answer: Answer) -> Iterator[str]:
    if answer.fitted is None or answer.fitted.usable.current_A <= 0:
        return
    usable = answer.fitted.usable
    x, _ = chart.at(usable.current_A, chart.y.start)
    yield f'<path d="M{x:g} {TOP:g}V{chart.height - BOTTOM:g}" class="usable"/>'
    said = f"usable to {show(cut_A(usable.current_A), 'A', 2)}"
    side = "end" if x > chart.width * 0.3 else "start"
    yield _label(x + (-5 if side == "end" else 5), TOP + 10, said, side)


def _marks(chart: Chart, needs: Sequence[tuple[Demand, float]], together_A: float) -> Iterator[str]:
    """Each demand from its own peak to the current with all plugged in, at the voltage that the outlet must have."""
    if together_A and together_A <= chart.x.end:
        x, _ = chart.at(together_A, chart.y.start)
        yield f'<path d="M{x:g} {TOP:g}V{chart.height - BOTTOM:g}" class="dashes"/>'
        yield _label(x - 5, chart.height - BOTTOM - 6, "all plugged in", "end")
    for demand, volts in needs:
        x, y = chart.at(demand.peak_A, volts)
        end, _ = chart.at(max(together_A, demand.peak_A), volts)
        yield f'<path d="M{x:g} {y:g}H{end:g}" class="need"/><path d="M{x:g} {y:g}l-5 9h10z" class="ink"/>'
        yield _label(x - 8, y + 12, demand.name, "end")


def _label(x: float, y: float, said: str, side: str) -> str:
    return f'<text x="{x:g}" y="{y:g}" class="label" text-anchor="{side}">{escape(said)}</text>'


def _svg(chart: Chart, shapes: Sequence[str], said: str) -> Markup:
    return Markup(
        f'<svg class="chart" viewBox="0 0 {chart.width:g} {chart.height:g}" role="img" aria-label="{escape(said)}">'
        f"{''.join(shapes)}</svg>"
    )
