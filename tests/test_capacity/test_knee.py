"""Where a source gives up: told from sweeps as such sources give them."""

from __future__ import annotations

import pytest

from batchtest.capacity.knee import find
from batchtest.capacity.model import KneeKind, Point
from test_capacity.outlets import read, straight_source, sweep

HELD = sweep(straight_source(), (0.1, 0.2, 0.3), both_ways=False)


def bad(current_A, drawn_A):
    """A point in which the load saturates at 0.6 V."""
    return Point(current_A=current_A, voltage=read(0.6, regulated=False), drawn_A=drawn_A)


@pytest.mark.parametrize(
    ("drawn_A", "kind"),
    [
        pytest.param(0.31, KneeKind.LIMIT, id="limit"),
        pytest.param(0.15, KneeKind.FOLD_BACK, id="fold-back"),
        pytest.param(0.03, KneeKind.COLLAPSE, id="collapse"),
        pytest.param(None, KneeKind.COLLAPSE, id="nobody-asked"),
    ],
)
def test_what_still_flows_tells_how_a_source_gives_up(drawn_A, kind):
    """A limit lets its current through, a fold-back a part of it, a tripped fuse or a blown one next to nothing."""
    knee = find([*HELD, bad(0.4, drawn_A)])
    assert (knee.kind, knee.last_good_A, knee.first_bad_A) == (kind, 0.3, 0.4)


def test_a_source_that_holds_every_current_has_no_knee():
    """Not on the way up; what happens on the way down is not its knee."""
    down = Point(current_A=0.2, voltage=read(0.6, regulated=False), rising=False)
    assert find([*HELD, down]) is None


def test_a_source_that_gives_nothing_has_collapsed():
    """No reading at the first current: nothing was good."""
    knee = find([Point(current_A=0.1, voltage=read(None), drawn_A=0.1)])
    assert (knee.kind, knee.last_good_A) == (KneeKind.COLLAPSE, 0.0)


def test_a_soft_knee_is_a_piece_far_steeper_than_those_before():
    """The load still holds its current, but the source falls four times as steeply as it ever did."""
    soft = Point(current_A=0.4, voltage=read(7.5 - 4 * 1.5))
    knee = find([*HELD, soft])
    assert (knee.kind, knee.last_good_A, knee.first_bad_A) == (KneeKind.LIMIT, 0.3, 0.4)


def test_the_first_milliamperes_of_a_regulator_are_no_knee():
    """From open circuit the voltage falls most steeply; the rest is the source."""
    points = [Point(current_A=0.0, voltage=read(13.0)), Point(current_A=0.001, voltage=read(12.5)), *HELD]
    assert find(points) is None
