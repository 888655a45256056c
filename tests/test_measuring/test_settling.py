"""Settling: the least wait, and what is still to come."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.measuring.abort import crossed
from batchtest.measuring.settling import (
    GIVE_UP_S,
    MOST_CONSTANTS,
    SHARE,
    Mean,
    is_settled,
    longest_wait,
    minimum_wait,
    stands_still,
    still_to_come,
)
from batchtest.nouns import Limit

TAUS = st.floats(0.001, 1.0)


@given(step=st.floats(0.01, 100), guard=st.floats(1e-6, 1e-2), tau_s=TAUS)
def test_after_the_least_wait_a_step_has_died_away(step: float, guard: float, tau_s: float) -> None:
    """What is left of the expected step is a tenth of the guard band, unless that takes longer than anyone waits."""
    wait_s = minimum_wait(step, guard, tau_s)
    left = step * math.exp(-wait_s / tau_s)
    assert left == pytest.approx(SHARE * guard) or wait_s == pytest.approx(MOST_CONSTANTS * tau_s) or wait_s == 0


@pytest.mark.parametrize(
    ("step", "guard", "tau_s", "wait_s"),
    [
        pytest.param(5.0, 0.001, 0.0, 0.0, id="no-time-constant"),
        pytest.param(0.0, 0.001, 0.1, 0.0, id="no-step"),
        pytest.param(1e-6, 0.001, 0.1, 0.0, id="step-within-the-guard-band"),
        pytest.param(5.0, 0.0, 0.1, 1.2, id="no-guard-band"),
    ],
)
def test_the_least_wait_at_its_edges(step: float, guard: float, tau_s: float, wait_s: float) -> None:
    """Nothing to wait for is no wait; nothing to measure by is the longest."""
    assert minimum_wait(step, guard, tau_s) == pytest.approx(wait_s)
    assert longest_wait(tau_s) == 20 * tau_s + GIVE_UP_S


@given(
    end=st.floats(-30, 30),
    step=st.floats(0.001, 30),
    tau_s=TAUS,
    passed=st.floats(0.05, 5.0),
    begin=st.floats(0.0, 5.0),
)
def test_what_is_to_come_is_foretold_from_two_values(
    end: float, step: float, tau_s: float, passed: float, begin: float
) -> None:
    """Two values of one exponential tell how far it still goes."""

    def at(constants: float) -> Mean:
        return Mean(end + step * math.exp(-constants), 0.0, constants * tau_s)

    later = at(begin + passed)
    assert still_to_come(at(begin), later, tau_s) == pytest.approx(abs(later.value - end), rel=1e-3, abs=1e-9)


def test_noise_counts_as_still_to_come() -> None:
    """Two values close in time say little where they are noisy."""
    quiet, noisy = (still_to_come(Mean(5.0, noise, 0.0), Mean(5.0, noise, 0.01), 1.0) for noise in (0.0, 1e-3))
    assert quiet == 0.0
    assert noisy == pytest.approx(math.sqrt(2) * 1e-3 / math.expm1(0.01))


@pytest.mark.parametrize(("passed_s", "tau_s", "to_come"), [(0.0, 0.1, math.inf), (1.0, 0.0, 0.0), (10.0, 0.1, 0.0)])
def test_what_is_to_come_at_its_edges(passed_s: float, tau_s: float, to_come: float) -> None:
    """No time between is no knowledge; no time constant or very many of them is the end."""
    assert still_to_come(Mean(4.0, 0.0, 0.0), Mean(5.0, 0.0, passed_s), tau_s) == to_come


def test_a_value_must_also_stand_still() -> None:
    """A time constant far shorter than the time between does not excuse a value that moves."""
    earlier, later = Mean(4.0, 1e-5, 0.0), Mean(4.5, 1e-5, 0.1)
    assert still_to_come(earlier, later, 0.001) == 0.0
    assert not stands_still(earlier, later, 0.001)
    assert not is_settled(earlier, later, 0.001, 0.001)
    assert is_settled(earlier, Mean(4.00001, 1e-5, 0.1), 0.001, 0.001)


@pytest.mark.parametrize(
    ("values", "bounds", "found"),
    [
        pytest.param([5.0], None, None, id="no-bounds"),
        pytest.param([5.6], Limit(upper=5.6), None, id="on-the-bound"),
        pytest.param([5.0, 5.7], Limit(upper=5.6), (5.7, 5.6), id="above"),
        pytest.param([-0.6], Limit(lower=-0.5), (-0.6, -0.5), id="below"),
        pytest.param([math.inf], Limit(upper=5.6), (math.inf, 5.6), id="over-range-above"),
        pytest.param([math.inf], Limit(upper=15.0), None, id="bound-beyond-the-range"),
        pytest.param([-math.inf], Limit(lower=-0.5), (-math.inf, -0.5), id="over-range-below"),
        pytest.param([-math.inf], Limit(upper=5.6), None, id="other-side"),
        pytest.param([math.nan], Limit(lower=-0.5, upper=5.6), None, id="no-number"),
    ],
)
def test_the_first_value_beyond_a_bound_is_found(
    values: list[float], bounds: Limit | None, found: tuple[float, float] | None
) -> None:
    """Bounds are included; over range is beyond a bound within the range."""
    assert crossed(values, bounds, 10.0) == found
