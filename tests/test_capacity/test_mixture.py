"""The interval of mixed errors against closed forms and against drawing them."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity.mixture import half_width

DRAWS = 400_000
SIZES = st.floats(-5, 5, allow_subnormal=False)


def test_one_rectangular_error_is_covered_by_its_share():
    """95 % of a rectangle of half-width 1 lie within 0.95 (JCGM 100:2008, 4.3.7)."""
    assert half_width([1.0], 0.0) == pytest.approx(0.95, rel=1e-3)


def test_normal_errors_alone_give_the_normal_quantile():
    """1.960 standard deviations hold 95 % (JCGM 100:2008, Table G.1)."""
    assert half_width([], 1.0) == pytest.approx(1.960, rel=1e-3)


def test_two_equal_rectangles_make_a_triangle():
    """95 % of a triangle of half-width 2 lie within 2 (1 - sqrt 0.05) (JCGM 100:2008, 4.3.9, its density)."""
    assert half_width([1.0, 1.0], 0.0) == pytest.approx(2 * (1 - math.sqrt(0.05)), rel=1e-3)


@pytest.mark.parametrize(
    ("bounds", "deviation"),
    [
        pytest.param([1.0], 0.3, id="one-and-noise"),
        pytest.param([1.0, 0.5], 0.0, id="two"),
        pytest.param([1.0, -0.9, 0.02], 0.3, id="three-and-noise"),
        pytest.param([1.0, 1e-4], 1e-3, id="one-far-larger"),
        pytest.param([0.1], 1.0, id="noise-rules"),
    ],
)
def test_agrees_with_drawing_the_errors(bounds, deviation):
    """The interval holds 95 % of 400 000 drawn sums, to one part in a hundred."""
    rng = np.random.default_rng(11)
    drawn = sum(bound * rng.uniform(-1, 1, DRAWS) for bound in bounds) + deviation * rng.normal(0, 1, DRAWS)
    assert half_width(bounds, deviation) == pytest.approx(float(np.quantile(np.abs(drawn), 0.95)), rel=0.01)


@given(bounds=st.lists(SIZES, max_size=4), deviation=SIZES.map(abs))
def test_never_wider_than_all_errors_at_their_worst(bounds, deviation):
    """The interval is never negative, and never beyond the bounds together and two deviations."""
    found = half_width(bounds, deviation)
    assert 0 <= found <= math.fsum(map(abs, bounds)) + 2 * deviation


def test_a_sum_of_weights_that_is_zero_but_for_rounding_changes_nothing():
    """An error some 1e-17 large next to others is no error: an offset that cancels in a slope."""
    assert half_width([1.0, 1e-17], 0.1) == half_width([1.0], 0.1)


def test_no_errors_no_interval():
    """Nothing uncertain is known exactly."""
    assert half_width([], 0.0) == 0.0
