"""The clocks: what they promise to whoever waits."""

from __future__ import annotations

import time

import pytest

from batchtest.clock import Clock, ScaledClock, VirtualClock


@pytest.mark.parametrize(
    "clock", [pytest.param(ScaledClock(1000), id="scaled"), pytest.param(VirtualClock(), id="virtual")]
)
def test_a_sleep_passes_that_much_of_the_clock(clock: Clock):
    """After a sleep at least that many seconds have gone by on this clock."""
    before = clock.now()
    clock.sleep(5.0)
    assert clock.now() >= before + 5.0


@pytest.mark.parametrize(
    "clock", [pytest.param(ScaledClock(1000), id="scaled"), pytest.param(VirtualClock(), id="virtual")]
)
def test_waiting_for_the_past_takes_no_time(clock: Clock):
    """A moment that has gone by is not waited for, and the clock does not go back to it."""
    clock.sleep(1.0)
    before = clock.now()
    clock.wait_until(before - 1.0)
    clock.sleep(-1.0)
    assert clock.now() >= before


def test_a_virtual_hour_takes_no_real_time():
    """The virtual clock jumps, so that thousands of boards fit into a test."""
    start, clock = time.monotonic(), VirtualClock()
    clock.wait_until(3600.0)
    assert clock.now() == 3600.0
    assert time.monotonic() - start < 1.0


def test_a_scaled_clock_runs_faster_than_the_wall():
    """At a scale of 100 a simulated second lasts ten milliseconds."""
    clock, start = ScaledClock(100), time.monotonic()
    clock.sleep(2.0)
    assert 0.02 <= time.monotonic() - start < 1.0


@pytest.mark.parametrize("scale", [0.0, -1.0, float("nan")], ids=["zero", "negative", "nan"])
def test_a_clock_that_stands_still_is_refused(scale: float):
    """Every wait on a clock must end."""
    with pytest.raises(ValueError, match=f"above zero, not {scale}"):
        ScaledClock(scale)
