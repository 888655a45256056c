"""The drawings: where a value lies between its limits, told by shape alone."""

from __future__ import annotations

import re
from xml.etree import ElementTree

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.nouns import Limit, Line, Outcome, Verdict
from batchtest.pages.axis import Axis, axis_for
from batchtest.pages.bar import arrow, bar, bar_axis, dot
from batchtest.pages.marks import SYMBOLS, mark, symbols
from batchtest.pages.scale import scale_of
from batchtest.pages.strip import strips
from test_pages.examples import line, loads

bounds = st.none() | st.floats(-1e6, 1e6)


def _drawn(known: Line) -> str:
    return str(bar(known, bar_axis([known]), scale_of([known])))


@pytest.mark.parametrize("name", [*Verdict, *Outcome], ids=str)
def test_every_verdict_and_outcome_has_a_shape(name):
    """Each word has its shape, and the page holds it."""
    assert f'href="#mark-{name}"' in mark(name)
    assert f'id="mark-{name}"' in symbols()


def test_no_two_shapes_are_alike():
    """Shapes tell verdicts apart without colour."""
    assert len({re.sub(r' class="[^"]*"', "", shape) for shape in SYMBOLS.values()}) == len(SYMBOLS)


def test_an_unknown_shape_is_an_error():
    """A new outcome cannot be drawn as nothing."""
    with pytest.raises(KeyError, match="maybe"):
        mark("maybe")


def test_markers_differ_by_shape():
    """Pass, fail and doubtful are told apart on a grey print."""
    shapes = {
        re.sub(r' class="[^"]*"', "", dot(5, 5, verdict)) for verdict in (Verdict.PASS, Verdict.FAIL, Verdict.DOUBTFUL)
    }
    assert len(shapes) == 3


@pytest.mark.parametrize(
    ("value", "marker"),
    [
        pytest.param(5.0, "dot-pass", id="inside"),
        pytest.param(5.29, "dot-fail", id="just-outside"),
        pytest.param(5.1999, "dot-open", id="in-the-guard-band"),
    ],
)
def test_a_value_is_marked_by_its_verdict(value, marker):
    """One marker, of the verdict's kind."""
    drawn = _drawn(line("logic", value, lower=4.8, upper=5.2))
    assert re.findall(r"dot-\w+", drawn) == [marker]


@pytest.mark.parametrize(("value", "at"), [pytest.param(50.0, "165", id="right"), pytest.param(-50.0, "-5", id="left")])
def test_a_value_off_the_drawing_is_an_arrow_at_its_end(value, at):
    """A value far outside does not squeeze the limits together."""
    drawn = _drawn(line("logic", value, lower=4.8, upper=5.2))
    assert f'<path d="M{at} 9l' in drawn
    assert "circle" not in drawn


@pytest.mark.parametrize(
    ("lower", "upper", "ends"),
    [
        pytest.param(None, 5.2, 1, id="upper"),
        pytest.param(4.8, None, 1, id="lower"),
        pytest.param(4.8, 5.2, 2, id="both"),
    ],
)
def test_only_limits_that_exist_are_drawn(lower, upper, ends):
    """An open side has no end."""
    assert _drawn(line("logic", 5.0, lower=lower, upper=upper)).count('class="limit"') == ends


def test_no_limit_no_drawing():
    """There is nothing to lie between."""
    assert _drawn(line("logic", 5.0)) == ""


def test_no_reading_has_no_marker():
    """The window is drawn, empty."""
    drawn = _drawn(line("logic", None, lower=4.8, upper=5.2))
    assert "dot-" not in drawn
    assert 'aria-label="no reading, limits 4.8 to 5.2 V"' in drawn


def test_over_range_is_an_arrow_that_passes():
    """Above the range and above the lower bound: it points on."""
    drawn = _drawn(line("short", None, unit="ohm", lower=900.0, beyond=1e5))
    assert drawn.count("dot-pass") == 1
    assert "M165 9l" in drawn


def test_guard_strips_lie_inside_the_limits():
    """They are taken off the window, on both sides, as wide as U."""
    known = line("logic", 5.0, lower=4.8, upper=5.2, U=0.05)
    strips_at = re.findall(r'<rect x="([\d.]+)" y="3" width="([\d.]+)" height="12" class="guard"/>', _drawn(known))
    (left, wide), (right, _) = ((float(x), float(width)) for x, width in strips_at)
    axis = bar_axis([known])
    assert (left, wide) == (axis.at(4.8), pytest.approx(axis.at(4.85) - axis.at(4.8), abs=0.11))
    assert right == axis.at(5.15)


def test_no_guard_no_strip():
    """The plain rule takes nothing off."""
    assert "guard" not in _drawn(line("logic", 5.0, lower=4.8, upper=5.2, U=0.0))


@given(bounds, bounds, st.lists(st.floats(-1e9, 1e9), max_size=4))
def test_every_limit_shows_on_its_axis(lower, upper, values):
    """Whatever the values, a limit is never off the drawing."""
    limit = Limit(lower=lower, upper=upper)
    axis = axis_for([limit], values, 100)
    assert axis.end > axis.start
    assert all(axis.side(bound) == 0 for bound in (lower, upper) if bound is not None)


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_place_is_always_on_the_drawing(value):
    """Far values are held at the ends."""
    assert 0 <= Axis(-1, 1, 100).at(value) <= 100


@given(bounds, bounds, st.floats(-1e6, 1e6), st.floats(0, 1e3))
def test_every_bar_is_well_formed(lower, upper, value, U):
    """Any reading against any limit draws."""
    drawn = _drawn(line("logic", value, lower=lower, upper=upper, U=U))
    assert not drawn or ElementTree.fromstring(drawn.replace("&#34;", "'")).tag == "svg"


def test_arrows_point_outwards():
    """The tip lies beyond the drawing's end, its base inside."""
    assert arrow(100, 5, 1, Verdict.FAIL).startswith('<path d="M105 5l-11 ')
    assert arrow(0, 5, -1, Verdict.FAIL).startswith('<path d="M-5 5l11 ')


def test_a_strip_takes_every_board_at_full_load():
    """A dot for each board, at the highest load point only."""
    found = {strip.title: strip for strip in strips((f"VN-{n}", tuple(loads(5.0 + n / 100))) for n in range(5))}
    strip = found["logic at 40.0 mA"]
    assert strip.said == "n = 5: 4.95800 to 4.99800 V, median 4.97800 V"
    assert strip.drawing.count('class="dot-board"') == 5
    assert strip.outside == ()
    assert "bias" in found


def test_a_strip_names_the_boards_that_did_not_pass():
    """Off the axis they are counted at an arrow, and named below."""
    boards = [
        ("VN-1", (line("logic", 5.0, lower=4.8, upper=5.2),)),
        ("VN-2", (line("logic", 50.0, lower=4.8, upper=5.2),)),
    ]
    boards += [
        ("VN-3", (line("logic", 5.3, lower=4.8, upper=5.2),)),
        ("VN-4", (line("logic", None, lower=4.8, upper=5.2),)),
    ]
    (strip,) = strips(boards)
    assert strip.outside == ("VN-2 50.00000 V", "VN-3 5.30000 V", "VN-4 no reading")
    assert strip.drawing.count("dot-fail") == 2
    assert "1 without a reading" in strip.said


def test_a_strip_without_any_reading_says_so():
    """Not an empty number."""
    (strip,) = strips([("VN-1", (line("logic", None, lower=4.8, upper=5.2),))])
    assert strip.said == "n = 1, no reading"


def test_other_limits_make_another_strip():
    """Boards judged by different limits are not drawn between the same ones; no limit, no strip."""
    boards = [("VN-1", (line("logic", 5.0, upper=5.2),)), ("VN-2", (line("logic", 5.0, upper=5.3),))]
    assert len(strips([*boards, ("VN-3", (line("logic", 5.0),))])) == 2


def test_many_equal_boards_still_show():
    """Two hundred boards on one value stay inside the drawing, each with its serial."""
    (strip,) = strips((f"VN-{n}", (line("logic", 5.0, lower=4.8, upper=5.2),)) for n in range(200))
    heights = [float(y) for y in re.findall(r'cy="([\d.]+)"', strip.drawing)]
    assert len(heights) == 200
    assert min(heights) > 4
    assert max(heights) < 58
    assert "<title>VN-199</title>" in strip.drawing


def test_full_load_is_the_highest_load_point_in_any_order():
    """Not the reading that came last."""
    (strip, *_) = strips([("VN-1", tuple(reversed(list(loads()))))])
    assert strip.title == "bias"
    assert strip.said.startswith("n = 1: -2.60000")
