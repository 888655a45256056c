"""The voltage of an outlet between its measured points, its band, and how far down a floor is kept."""

from __future__ import annotations

from itertools import product

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity.curve import curve
from batchtest.capacity.model import Band, Point
from test_capacity.outlets import CURRENTS_A, USUAL, curve_of, follower, read, straight_source, sweep


def test_a_straight_source_is_read_off_exactly():
    """12 V behind 15 ohm give 11.4 V at 40 mA, a current that was not measured."""
    assert curve_of(straight_source(12.0, 15.0)).at(0.04).value == pytest.approx(11.4)


@given(milliamperes=st.integers(50, 200))
def test_a_curved_source_lies_within_the_band(milliamperes):
    """Between the points an emitter follower stays inside what the bend of the curve allows."""
    current = milliamperes / 1000
    band = curve_of(follower()).at(current)
    assert band.lower - 1e-9 <= follower()(current) <= band.upper + 1e-9


def test_the_band_holds_the_truth_whatever_meter_and_load_do():
    """Both all but at the ends of their accuracy, in every combination: the true voltage is inside at every current."""
    source_V = straight_source()
    for gain, offset, load_gain, load_offset in product((-0.999, 0.999), repeat=4):
        points = [
            Point(
                current_A=current,
                voltage=read(
                    source_V(current * (1 + load_gain * USUAL.load_gain) + load_offset * USUAL.load_offset_A)
                    * (1 + gain * USUAL.meter_gain)
                    + offset * USUAL.meter_offset_V
                ),
            )
            for current in CURRENTS_A
        ]
        found = curve(points, USUAL)
        assert all(found.at(i).lower <= source_V(i) <= found.at(i).upper for i in (0.02, 0.1, 0.15, 0.2))


def test_up_and_down_are_averaged():
    """A point read at 11.0 V on the way up and at 11.2 V on the way down is 11.1 V."""
    points = [
        Point(current_A=0.0, voltage=read(12.0)),
        Point(current_A=0.1, voltage=read(11.0)),
        Point(current_A=0.1, voltage=read(11.2), rising=False),
    ]
    assert curve(points, USUAL).at(0.1).value == pytest.approx(11.1)


def test_beyond_the_last_point_the_line_is_drawn_on():
    """Nothing was measured there, and the curve says how far it was; the band does not shrink."""
    found = curve_of(straight_source())
    assert found.last_A == max(CURRENTS_A)
    assert found.at(0.3).value == pytest.approx(7.5)


@given(floor_V=st.floats(9.1, 11.9))
def test_the_largest_current_keeps_the_floor(floor_V):
    """At that current the whole band is above the floor, a little more current and it is not."""
    found = curve_of(straight_source())
    largest_A = found.largest_A(floor_V)
    assert found.at(largest_A).lower >= floor_V - 1e-6
    assert found.at(largest_A + 1e-4).lower < floor_V


def test_a_floor_that_is_never_reached_or_always_kept():
    """Above the open circuit there is no current; below the last point there is the last that was measured."""
    found = curve_of(straight_source())
    assert found.largest_A(12.5) == 0.0
    assert found.largest_A(8.0) == max(CURRENTS_A)


def test_another_resistance_moves_the_curve_and_its_doubt_widens_the_band():
    """10 to 20 ohm more at 0.1 A: 1.5 V lower, known to half a volt; and 0.2 V off the whole."""
    found = curve_of(straight_source(12.0, 0.0)).changed(ohm=Band(value=15.0, lower=10.0, upper=20.0), less_V=0.2)
    assert found.at(0.1).value == pytest.approx(10.3)
    assert (found.at(0.1).lower, found.at(0.1).upper) == pytest.approx((9.8, 10.8), abs=1e-6)


def test_what_was_not_held_makes_no_curve():
    """With one regulated current there is nothing to draw."""
    bad = Point(current_A=0.2, voltage=read(0.6, regulated=False))
    assert curve([*sweep(straight_source(), (0.1,)), bad], USUAL) is None
