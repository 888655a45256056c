"""Straight lines against the statistical reference data sets of NIST, and where there is none."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity.lines import straight, through_zero


def test_the_line_of_norris_to_the_published_digits(reference):
    """NIST StRD, linear regression, Norris: 36 points over four decades, all certified digits within 1e-9."""
    case = reference("02_strd_numerics", "norris")
    line, expected = straight(case["inputs"]["x"], case["inputs"]["y"]), case["expected"]
    rel = case["tolerance"]["rel"]
    assert expected["b0"] == pytest.approx(line.intercept, rel=rel)
    assert expected["b1"] == pytest.approx(line.slope, rel=rel)
    assert expected["se_b0"] == pytest.approx(line.intercept_error, rel=rel)
    assert expected["se_b1"] == pytest.approx(line.slope_error, rel=rel)
    assert expected["residual_sd"] == pytest.approx(line.residual, rel=rel)
    assert expected["r2"] == pytest.approx(line.r2, rel=rel)


@pytest.mark.parametrize("name", ["noint1", "noint2"])
def test_lines_through_zero_to_the_published_digits(reference, name):
    """NIST StRD, linear regression, NoInt1 and NoInt2; data and digits from memory, not read from the files."""
    case = reference("02_strd_numerics", name)
    line, expected = through_zero(case["inputs"]["x"], case["inputs"]["y"]), case["expected"]
    rel = case["tolerance"]["rel"]
    assert (line.intercept, line.intercept_error) == (0.0, 0.0)
    assert expected["b1"] == pytest.approx(line.slope, rel=rel)
    assert expected["se_b1"] == pytest.approx(line.slope_error, rel=rel)
    assert expected["residual_sd"] == pytest.approx(line.residual, rel=rel)
    assert expected["r2"] == pytest.approx(line.r2, rel=rel)


@given(
    slope=st.floats(-100, 100),
    level=st.floats(-100, 100),
    x=st.lists(st.integers(-1000, 1000), min_size=3, max_size=9, unique=True),
)
def test_points_on_a_line_give_that_line(slope, level, x):
    """Points without scatter lie on the line that is found, and nothing is left over."""
    line = straight(x, [level + slope * value for value in x])
    assert (line.slope, line.intercept) == pytest.approx((slope, level), rel=1e-9, abs=1e-9)
    assert line.residual == pytest.approx(0.0, abs=1e-9)


def test_a_level_line_explains_all_there_is():
    """Where nothing varies nothing is left unexplained."""
    assert straight([1.0, 2.0, 3.0], [4.0, 4.0, 4.0]).r2 == 1.0


def test_without_spare_points_the_scatter_is_not_known():
    """Two points and a line, or one and a line through zero, leave nothing to judge the scatter by."""
    assert math.isnan(straight([1.0, 2.0], [1.0, 3.0]).residual)
    assert math.isnan(through_zero([2.0], [3.0]).slope_error)


def test_where_there_is_no_line():
    """One x, or nothing but zeros, is refused with what is wrong."""
    with pytest.raises(ValueError, match=r"needs two different x, got \[0\.1\]"):
        straight([0.1, 0.1], [1.0, 2.0])
    with pytest.raises(ValueError, match="needs an x that is not zero"):
        through_zero([0.0, 0.0], [1.0, 2.0])
