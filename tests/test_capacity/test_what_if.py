"""Another limiter in the same outlet: what is gained, and what a short then draws."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from batchtest.capacity.fuse import longest_trip_s
from batchtest.capacity.let_through import can_trip, into_short
from batchtest.capacity.model import Band, Ceiling
from batchtest.capacity.what_if import Measured, as_fitted, with_other
from batchtest.nouns import Verdict
from test_capacity.outlets import FUSE, RESISTOR, curve_of, demand, straight_source

#: A host of 1 ohm behind 15 ohm, 12 V.
MEASURED = Measured(
    cold=curve_of(straight_source(12.0, 16.0)),
    hot=curve_of(straight_source(12.0, 16.0)),
    open_V=12.0,
    ohm=Band(value=16.0, lower=15.9, upper=16.1),
    limiter=RESISTOR,
    ratings=(Ceiling(term="the wire", current_A=1.5),),
    demands=(demand(), demand("camera", 0.1, minimum_V=10.8)),
    cold_C=23.0,
    hot_C=50.0,
    less_V=0.0,
    margin=1.0,
)


def test_a_fuse_in_place_of_a_resistor_leaves_more_voltage():
    """2 to 6 ohm instead of 16: the camera works that did not, and the answer is the fuse's hold at 50 C."""
    now, then = as_fitted(MEASURED, "as it is"), with_other(MEASURED, "fuse", FUSE)
    assert now.budget[1].hot_alone.verdict is Verdict.FAIL
    assert then.budget[1].hot_alone.verdict is Verdict.PASS
    assert now.usable.current_A < then.usable.current_A == pytest.approx(0.15)


def test_a_fuse_lets_several_times_more_through_until_it_trips():
    """Common practice, no source: a resistor limits at once, a fuse passes several times more until it has tripped."""
    resistor = as_fitted(MEASURED, "as it is").let_through
    fuse = with_other(MEASURED, "fuse", FUSE).let_through
    assert resistor.current_A == pytest.approx(12 / 15.9)
    assert (resistor.lasts_s, resistor.after_A) == (math.inf, resistor.current_A)
    assert resistor.heat_W > resistor.allowed_W == 2.0
    assert fuse.current_A == pytest.approx(12 / (1.0 + 1.5))
    assert fuse.current_A > 4 * resistor.current_A
    assert fuse.lasts_s == pytest.approx(longest_trip_s(FUSE, 12 / (16.1 - 14.25 + 5.0), 23.0))
    assert fuse.after_A < 0.06


def test_the_same_limiter_again_is_what_was_measured_but_for_its_tolerance():
    """Swapping one 15 ohm resistor for another moves nothing; either may be 5 % off, which the band says."""
    again, now = with_other(MEASURED, "again", RESISTOR), as_fitted(MEASURED, "as it is")
    first, second = again.budget[0].cold_alone.voltage, now.budget[0].cold_alone.voltage
    assert first.value == pytest.approx(second.value)
    assert second.lower - first.lower == pytest.approx(0.08 * 2 * 0.75)


def test_the_worst_day_is_the_hot_row_only():
    """Low mains and a warmer limiter take their share from the hot row; the cold one is as measured."""
    worse = as_fitted(replace(MEASURED, less_V=0.5), "as it is").budget[0]
    usual = as_fitted(MEASURED, "as it is").budget[0]
    assert usual.hot_alone.voltage.value - worse.hot_alone.voltage.value == pytest.approx(0.5)
    assert worse.cold_alone.voltage == usual.cold_alone.voltage
    assert usual.hot_alone.voltage.lower < usual.cold_alone.voltage.lower


def test_a_host_that_gives_up_limits_what_a_short_draws():
    """A source known to end at 1.2 A lets 1.2 A through, whatever its ohms would say."""
    found = with_other(replace(MEASURED, gives_up_A=1.2), "fuse", FUSE).let_through
    assert found.current_A == 1.2
    assert found.lasts_s == pytest.approx(longest_trip_s(FUSE, 12 / (12 / 1.2 + 5.0), 23.0))


def test_a_source_that_cannot_trip_the_fuse_goes_on():
    """0.3 A into a fuse that trips at 0.4 A: it need never act, and the current stays what it is."""
    found = into_short(FUSE, current_A=0.3, least_A=0.3, open_V=12.0, at_C=20.0)
    assert (found.lasts_s, found.after_A, found.allowed_W) == (math.inf, 0.3, None)
    assert not can_trip(FUSE, delivers_A=0.3, at_C=20.0)
    assert can_trip(FUSE, delivers_A=0.3, at_C=60.0)
