"""The closed form of a voltage on its way."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.simulated.approach import Approach

STEP = Approach(1.0, 5.0, since_s=2.0, tau_s=0.01)
VOLTS = st.floats(-30, 30)


@pytest.mark.parametrize("passed_s", [0.0, 0.001, 0.01, 0.05, 0.2])
def test_a_step_follows_the_exponential(passed_s: float):
    """Target + (start - target) exp(-t / tau)."""
    assert STEP.at(2.0 + passed_s) == pytest.approx(5.0 - 4.0 * math.exp(-passed_s / 0.01))


def test_before_the_step_nothing_moves():
    """It is at its start, and so is its mean."""
    assert (STEP.at(1.0), STEP.mean(1.0, 1.9)) == (1.0, 1.0)


@given(VOLTS, VOLTS, st.floats(1e-4, 1.0), st.floats(-0.5, 1.0), st.floats(1e-3, 1.0))
def test_the_mean_of_a_window_is_the_mean_of_its_moments(
    start: float, target: float, tau: float, begin: float, width: float
):
    """Also where the step lies inside the window; against a sum over many moments."""
    step = Approach(start, target, 0.0, tau)
    moments = [step.at(begin + width * (index + 0.5) / 4000) for index in range(4000)]
    assert step.mean(begin, begin + width) == pytest.approx(sum(moments) / 4000, abs=2e-2)


def test_a_new_target_makes_no_jump():
    """It goes on from where it is."""
    turned = STEP.toward(0.0, 0.1, 2.01)
    assert turned.at(2.01) == STEP.at(2.01)
    assert turned.at(2.11) == pytest.approx(STEP.at(2.01) * math.exp(-1))
