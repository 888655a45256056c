"""Which things work on an outlet, alone and together, cold and hot."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity.budget import State, rows
from batchtest.capacity.curve import curve
from batchtest.nouns import Verdict
from test_capacity.outlets import USUAL, curve_of, demand, straight_source, sweep

COLD = State(curve=curve_of(straight_source(12.0, 15.0)), at_C=20.0, carries_A=math.inf)
HOT = State(curve=curve_of(straight_source(11.8, 15.5)), at_C=50.0, carries_A=math.inf)


def test_a_thing_alone_gets_what_outlet_and_lead_leave():
    """80 mA behind 15 ohm: 10.8 V; five metres of 0.25 mm2 take another 55 mV."""
    (row,) = rows([demand(length_m=5.0)], cold=COLD, hot=HOT)
    assert row.cold_alone.voltage.value == pytest.approx(10.8 - 0.08 * 2 * 0.017241 * 5 / 0.25)
    assert row.cold_alone.margin_V == pytest.approx(row.cold_alone.voltage.value - 9.0)
    assert row.cold_alone.verdict is Verdict.PASS
    assert row.hot_alone.margin_V < row.cold_alone.margin_V


def test_things_that_work_alone_may_not_work_together():
    """Two of 0.12 A each: alone 10.2 V, together 8.4 V of the 9 V that they need."""
    found = rows([demand("a", 0.12), demand("b", 0.12)], cold=COLD, hot=HOT)
    assert [row.cold_alone.verdict for row in found] == [Verdict.PASS, Verdict.PASS]
    assert [row.cold_together.verdict for row in found] == [Verdict.FAIL, Verdict.FAIL]
    assert found[0].cold_together.voltage.value == pytest.approx(12 - 15 * 0.24)


def test_one_peak_at_a_time_the_worst_one():
    """While all run, the worst moment for a thing is the highest peak of any: not two peaks at once."""
    quiet, loud = demand("quiet", 0.02), demand("loud", 0.05, peak_A=0.1)
    first, second = rows([quiet, loud], cold=COLD, hot=HOT)
    assert first.cold_together.outlet_A == pytest.approx(0.12)
    assert second.cold_together.outlet_A == pytest.approx(0.12)
    assert first.cold_alone.outlet_A == pytest.approx(0.02)


def test_beyond_what_was_measured_nothing_is_promised():
    """The line drawn on would do, but nobody has seen it."""
    (row,) = rows([demand(current_A=0.22, minimum_V=5.0)], cold=COLD, hot=HOT)
    assert not row.cold_alone.measured
    assert row.cold_alone.verdict is Verdict.DOUBTFUL


def test_more_than_a_part_carries_does_not_work_whatever_the_voltage():
    """Voltage enough, and yet the fuse would trip."""
    weak = State(curve=COLD.curve, at_C=20.0, carries_A=0.07)
    (row,) = rows([demand()], cold=weak, hot=HOT)
    assert row.cold_alone.margin_V > 0
    assert row.cold_alone.verdict is Verdict.FAIL


@given(minimum_V=st.floats(9.0, 12.0) | st.floats(10.78, 10.82))
def test_the_verdict_follows_the_band(minimum_V):
    """Surely above is a pass, surely below a fail, within is a doubt: a doubt is never a pass."""
    state = State(curve=curve(sweep(straight_source()), USUAL), at_C=20.0, carries_A=math.inf)
    (row,) = rows([demand(minimum_V=minimum_V)], cold=state, hot=state)
    band = row.cold_alone.voltage
    if band.lower >= minimum_V:
        assert row.cold_alone.verdict is Verdict.PASS
    elif band.upper < minimum_V:
        assert row.cold_alone.verdict is Verdict.FAIL
    else:
        assert row.cold_alone.verdict is Verdict.DOUBTFUL
