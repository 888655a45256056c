"""The kinds of charts of a review, each worked out once as a Vega-Lite specification; data is put in when one is drawn.

Nothing is told by colour alone: what stands out is a diamond with an edge, limits are solid lines, limits of control
dashed ones. Datasets are named here and filled in `review_drawing`.
"""

from __future__ import annotations

import json
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    import altair

    #: Charts laid over one another, as altair says it.
    Layered = altair.LayerChart | altair.FacetChart

_INK, _QUIET, _RULE, _BAR = "#14202b", "#4a5866", "#c6ced6", "#7f93a6"
_BLUE, _ORANGE = "#0b4f93", "#ff9d33"
#: Drawing units; two narrow charts stand side by side on a page.
NARROW, WIDE = 420, 880

#: Labels of an axis of counts: none between two whole numbers.
_WHOLE = "datum.value % 1 ? '' : format(datum.value, ',d')"
#: Kind of chart -> the datasets that it draws.
DATASETS: dict[str, tuple[str, ...]] = {
    "shares": ("shares",),
    "many shares": ("shares",),
    "causes": ("causes",),
    "histogram": ("bars", "limits"),
    "control": ("points", "centre", "signals"),
    "shifts": ("shifts", "centre"),
}


@cache
def specification(kind: str) -> dict[str, Any]:
    """The specification of a kind of chart, its datasets empty.

    Parameters
    ----------
    kind : a key of `DATASETS`.

    Raises
    ------
    KeyError : there is no such kind.
    """
    makers = {
        "shares": _shares,
        "many shares": _many_shares,
        "causes": _causes,
        "histogram": _histogram,
        "control": _control,
        "shifts": _shifts,
    }
    chart = makers[kind]().configure(font="Arial, Helvetica, sans-serif", background="#ffffff", aria=False)
    chart = chart.configure_axis(
        labelColor=_INK,
        titleColor=_QUIET,
        gridColor=_RULE,
        domainColor=_INK,
        tickColor=_INK,
        labelFontSize=12,
        titleFontSize=12,
        titleFontWeight="normal",
        labelLimit=190,
        labelOverlap=False,
        tickCount=5,
    ).configure_view(stroke=None)
    found: dict[str, Any] = json.loads(chart.to_json())
    return {**found, "datasets": {name: [] for name in DATASETS[kind]}}


def _data(name: str) -> altair.Chart:
    import altair

    return altair.Chart(altair.NamedData(name=name))


def _shares() -> Layered:
    """A row a group: its share as a dot, its interval as a thick line."""
    import altair

    group = altair.Y("name:N").sort(None).title(None)
    return _share_layers({"y": group}, "x").properties(width=NARROW - 60, height=altair.Step(22))


def _many_shares() -> Layered:
    """The same side by side, for more groups than rows are good for."""
    return _share_layers({"x": _in_order()}, "y").properties(width=WIDE, height=200)


def _share_layers(group: dict[str, Any], along: str) -> Layered:
    import altair

    channel = altair.X if along == "x" else altair.Y
    share = channel("share:Q").scale(domain=[0, 1]).axis(format="%").title("share, 95 % interval")
    data = _data("shares")
    lower = channel("lower:Q").scale(domain=[0, 1]).axis(format="%").title("share, 95 % interval")
    line = data.mark_rule(strokeWidth=4, color=_BAR)
    upper = altair.X2("upper:Q") if along == "x" else altair.Y2("upper:Q")
    ends = line.encode(**group, **{along: lower, f"{along}2": upper})
    dots = data.mark_point(filled=True, size=70, color=_BLUE, opacity=1).encode(**group, **{along: share})
    return altair.layer(ends, dots)


def _causes() -> Layered:
    """A bar a cause, its boards written at its end."""
    import altair

    data = _data("causes").encode(
        y=altair.Y("name:N").sort(None).title(None).axis(labelLimit=260),
        x=altair.X("boards:Q").title("boards").axis(labelExpr=_WHOLE),
    )
    bars = data.mark_bar(color=_BLUE, stroke=_INK)
    counts = data.mark_text(align="left", dx=5, color=_INK, fontSize=12).encode(text="boards:Q")
    return altair.layer(bars, counts).properties(width=NARROW, height=altair.Step(22))


def _histogram() -> Layered:
    """Bars of equal width; what lies outside the limits is orange with a thick edge; a solid line is a limit."""
    import altair

    bars = _data("bars").mark_bar(stroke=_INK)
    bars = bars.encode(
        x=altair.X("lower:Q").bin("binned").title(None).scale(zero=False, nice=False),
        x2="upper:Q",
        y=altair.Y("count:Q").title("boards").axis(labelExpr=_WHOLE),
        color=altair.Color("outside:N").scale(domain=[False, True], range=[_BLUE, _ORANGE]).legend(None),
        strokeWidth=altair.StrokeWidth("outside:N").scale(domain=[False, True], range=[0.5, 2]).legend(None),
    )
    limit = _data("limits").encode(x="value:Q")
    lines = limit.mark_rule(color=_INK, strokeWidth=2.5)
    names = limit.mark_text(color=_INK, fontSize=12, baseline="bottom", dy=-3).encode(text="name:N", y=altair.value(0))
    return altair.layer(bars, lines, names).properties(width=NARROW, height=150)


def _control() -> Layered:
    """Points in order of time, the centre line, dashed limits of control; a diamond completes a run rule."""
    import altair

    place = _in_order()
    value = altair.Y("value:Q").title(None).scale(zero=False, nice=False, padding=10)
    points = _data("points").encode(x=place)
    ends = [
        points.mark_line(interpolate="step", color=_QUIET, strokeDash=[5, 3], strokeWidth=1.2).encode(y=f"{end}:Q")
        for end in ("lower", "upper")
    ]
    centre = _data("centre").mark_rule(color=_QUIET, strokeWidth=1).encode(y="value:Q")
    joined = points.mark_line(color=_BLUE, strokeWidth=1).encode(y=value)
    calm = points.mark_point(filled=True, size=26, color=_BLUE, opacity=1).encode(y=value)
    odd = _data("signals").mark_point(
        filled=True, shape="diamond", size=130, color=_ORANGE, stroke=_INK, strokeWidth=1.6, opacity=1
    )
    odd = odd.encode(x=place, y="value:Q")
    return altair.layer(*ends, centre, joined, calm, odd).properties(width=NARROW, height=150)


def _shifts() -> Layered:
    """How far each batch's mean moved from the one before; the line at nought is no shift."""
    import altair

    data = _data("shifts").encode(x=_in_order())
    nought = _data("centre").mark_rule(color=_QUIET).encode(y="value:Q")
    ends = data.mark_rule(strokeWidth=4, color=_BAR).encode(y=altair.Y("lower:Q").title(None), y2=altair.Y2("upper:Q"))
    dots = data.mark_point(filled=True, size=60, color=_BLUE, opacity=1).encode(y="value:Q")
    return altair.layer(nought, ends, dots).properties(width=NARROW, height=150)


def _in_order() -> altair.X:
    """Places in order of time, from 1."""
    import altair

    place = altair.X("place:Q").title(None).axis(labelExpr=_WHOLE, grid=False)
    return place.scale(zero=False, nice=False, padding=8)
