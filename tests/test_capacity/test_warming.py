"""How a source's resistance rises with its heat, from a sweep by pulses and one at rest."""

from __future__ import annotations

import pytest

from batchtest.capacity.warming import warming
from test_capacity.outlets import CURRENTS_A, follower, straight_source, sweep


def rested(rise_ohm_W):
    """A source of 15 ohm at rest: each watt that is lost in it adds some."""

    def volts(current_A):
        ohm = 15.0
        for _ in range(100):
            ohm = 15.0 + rise_ohm_W * current_A**2 * ohm
        return 12.0 - ohm * current_A

    return volts


def test_the_rise_per_watt_is_found():
    """A source that gains 0.1 ohm for each watt is found to, beyond doubt."""
    found = warming(sweep(straight_source()), sweep(rested(0.1), both_ways=False), 12.0)
    assert found.value == pytest.approx(0.1, rel=1e-6)
    assert found.real


def test_a_source_that_does_not_warm_does_not_rise():
    """The same voltages, however bent, at rest as in the pulse: nothing."""
    found = warming(sweep(follower()), sweep(follower(), both_ways=False), 12.3)
    assert found.value == pytest.approx(0.0, abs=1e-12)


def test_one_current_in_common_is_not_enough():
    """What only one of the sweeps held says nothing."""
    assert warming(sweep(straight_source()), sweep(rested(0.1), (CURRENTS_A[0], 0.33)), 12.0) is None
