"""Quartiles, fences and part average limits against published values and numpy."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.review.stats.outliers import part_average_limits, quartiles, robust_sd

VALUES = st.lists(st.floats(-1e3, 1e3), min_size=1, max_size=60)


def test_quartiles_and_fences_are_those_of_the_handbook(reference):
    """90 values (NIST/SEMATECH 7.1.6); numpy's way gives others, as the case notes."""
    case = reference("11_outliers_and_run_rules", "fences")
    expected, within = case["expected"], case["tolerance"]["abs"]
    found = quartiles(case["inputs"]["x"])
    assert (expected["q1"], expected["median"], expected["q3"], expected["iqr"]) == pytest.approx(
        (found.lower, found.median, found.upper, found.range), abs=within
    )
    assert expected["inner"] == pytest.approx(found.fences(1.5), abs=within)
    assert expected["outer"] == pytest.approx(found.fences(3.0), abs=within)
    low, high = found.fences(1.5)
    assert expected["mild"] == [value for value in case["inputs"]["x"] if not low <= value <= high]


def test_part_average_limits_are_the_published_ones(reference):
    """Six robust deviations around the median (AEC-Q001 Rev D; from memory)."""
    case, values = (
        reference("11_outliers_and_run_rules", "pat-limits"),
        reference("11_outliers_and_run_rules", "fences"),
    )
    expected, within = case["expected"], case["tolerance"]["abs"]
    found = quartiles(values["inputs"]["x"])
    assert (expected["robust_mean"], expected["robust_sigma"]) == pytest.approx(
        (found.median, robust_sd(found)), abs=within
    )
    assert (expected["lower"], expected["upper"]) == pytest.approx(part_average_limits(found, None, None), abs=within)


def test_part_average_limits_stay_inside_the_specification(reference):
    """What the specification refuses no part average limit allows."""
    found = quartiles(reference("11_outliers_and_run_rules", "fences")["inputs"]["x"])
    assert part_average_limits(found, 0.0, 2e3) == pytest.approx((0.0, 1948.3889), abs=1e-4)
    assert part_average_limits(found, None, 1e3) == pytest.approx((-829.3889, 1e3), abs=1e-4)


@settings(deadline=None)
@given(VALUES, st.sampled_from((("(n+1)p", "weibull"), ("(n-1)p+1", "linear"))))
def test_both_methods_are_those_of_the_reference_library(values, methods):
    """Any values give what numpy gives by its name for the method."""
    ours, theirs = methods
    found = quartiles(values, ours)
    expected = np.quantile(values, (0.25, 0.5, 0.75), method=theirs)
    assert expected.tolist() == pytest.approx([found.lower, found.median, found.upper], abs=1e-9)
