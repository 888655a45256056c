"""Charts of control against the handbook's worked examples, and against what they must do on paper."""

from __future__ import annotations

import math

import numpy as np
import pytest

from batchtest.review.stats import charts

SEED = 11


def test_single_values_have_the_lines_of_the_handbook(reference):
    """Ten batches of flow rate (NIST/SEMATECH 6.3.2.2): with 1.128 for d2 as printed, and with the exact one."""
    case = reference("01_handbook_statistics", "imr-flowrate")
    given, expected, within = case["inputs"], case["expected"], case["tolerance"]["abs"]
    found = charts.individuals(given["x"])
    assert pytest.approx((found.centre, found.lower, found.upper), abs=within) == (50.81, 45.8176, 55.8024)
    printed = (found.upper - found.centre) * charts.constants(2).d2 / given["d2"]
    assert (expected["lcl"], expected["ucl"]) == pytest.approx(
        (found.centre - printed, found.centre + printed), abs=within
    )


def test_moving_ranges_have_the_lines_of_the_handbook(reference):
    """The same batches: mean range and D4 3.267."""
    case = reference("01_handbook_statistics", "imr-flowrate")
    ranges, lines = charts.moving_ranges(case["inputs"]["x"])
    assert case["expected"]["mr_mean"] == pytest.approx(lines.centre, abs=case["tolerance"]["abs"])
    assert case["inputs"]["D4"] * lines.centre == pytest.approx(lines.upper, abs=1e-3)
    assert (lines.lower, len(ranges)) == (0.0, len(case["inputs"]["x"]) - 1)


def test_weighted_means_are_those_of_the_handbook(reference):
    """Weight 0.3, twenty points (NIST/SEMATECH 6.3.2.4); its lower limit is printed truncated."""
    case = reference("01_handbook_statistics", "ewma-example")
    given, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    found, lines = charts.weighted(given["x"], given["target"], given["sigma"], given["lam"])
    assert expected["ewma"][1:] == pytest.approx(found, abs=tolerance["abs_ewma"])
    assert (expected["lcl_exact"], expected["ucl"]) == pytest.approx(
        (lines.lower, lines.upper), abs=tolerance["abs_limits"]
    )
    assert all(lines.lower < value < lines.upper for value in found)


def test_cumulative_sums_signal_where_the_handbook_does(reference):
    """Twenty subgroup means; the fourteenth goes beyond on the high side (NIST/SEMATECH 6.3.2.3; from memory)."""
    case = reference("01_handbook_statistics", "cusum-tabular")
    given, expected = case["inputs"], case["expected"]
    found = charts.cumulative_sums(given["x"], given["target"], given["k"], given["h"])
    assert expected["first_signal_index_1based"] - 1 == found.first
    assert expected["side"] == found.side
    assert (expected["S_hi_13"], expected["S_hi_14"]) == pytest.approx(found.high[12:14], abs=case["tolerance"]["abs"])


def test_cumulative_sums_see_low_as_they_see_high(reference):
    """Mirrored values signal at the same place on the other side, and quiet ones nowhere."""
    given = reference("01_handbook_statistics", "cusum-tabular")["inputs"]
    mirrored = charts.cumulative_sums([650.0 - value for value in given["x"]], 325.0, given["k"], given["h"])
    assert (mirrored.first, mirrored.side) == (13, "low")
    quiet = charts.cumulative_sums([325.0] * 9, 325.0, given["k"], given["h"])
    assert (quiet.first, quiet.side, quiet.high) == (None, None, (0.0,) * 9)


@pytest.mark.parametrize("place", range(4))
def test_cumulative_sums_run_as_long_as_published(reference, place):
    """Two-sided, k 0.5, h 4, shifts of 0, 0.5, 1 and 2 sigma (Lucas and Crosier 1982, Table 1), on drawn runs."""
    case = reference("11_outliers_and_run_rules", "cusum-arl-a")
    given, expected = case["inputs"], case["expected"]["arl"][place]
    runs, draw = [], np.random.default_rng(SEED)
    for _ in range(150 if place == 0 else 400):
        length, found = int(expected * 12), None
        values = draw.normal(given["shift"][place], 1.0, length).tolist()
        found = charts.cumulative_sums(values, 0.0, given["k"], given["h"]).first
        runs.append(length if found is None else found + 1)
    error = np.std(runs) / math.sqrt(len(runs))
    assert expected == pytest.approx(float(np.mean(runs)), abs=4 * error)


def test_counts_have_the_lines_of_the_handbook(reference):
    """25 wafers (NIST/SEMATECH 6.3.3.1): wafer 3 lies on the limit, which is not beyond it; wafer 24 is."""
    case = reference("01_handbook_statistics", "c-chart")
    given, expected = case["inputs"]["counts"], case["expected"]
    lines = charts.counts(given)
    assert (expected["center"], expected["lcl"], expected["ucl"]) == (lines.centre, lines.lower, lines.upper)
    assert expected["beyond_ucl_1based"] == [place for place, count in enumerate(given, 1) if count > lines.upper]


def test_subgroups_of_one_size_have_the_lines_of_the_printed_constants():
    """Means lie A3 and deviations B3 to B4 mean deviations around, where all deviations are one (ASTM constants)."""
    groups = [charts.Subgroup(count=5, mean=mean, sd=0.94) for mean in (4.9, 5.0, 5.1)]
    spread = charts.within_sd(groups)
    for line in charts.means(groups):
        assert (5.0, 5.0 + 1.427 * spread * 0.9400) == pytest.approx((line.centre, line.upper), abs=1e-3)
    for line in charts.sds(groups):
        assert (spread * 0.94, 0.0, 2.089 * spread * 0.94) == pytest.approx(
            (line.centre, line.lower, line.upper), abs=1e-3
        )


def test_the_spread_within_subgroups_has_no_bias():
    """Over many drawn subgroups of unequal size the spread comes out as it was drawn, shifts between them or not."""
    draw, found = np.random.default_rng(SEED), []
    for _ in range(1_500):
        samples = [draw.normal(draw.normal(0, 3), 2.0, size) for size in (2, 3, 5)]
        groups = [charts.Subgroup(count=len(each), mean=each.mean(), sd=each.std(ddof=1)) for each in samples]
        found.append(charts.within_sd(groups))
    assert np.mean(found) == pytest.approx(2.0, abs=4 * np.std(found) / math.sqrt(len(found)))


def test_a_smaller_subgroup_has_wider_lines():
    """Of two subgroups that differ in size, the smaller may stray farther."""
    small, large = charts.means([charts.Subgroup(count=n, mean=5.0, sd=0.1) for n in (2, 50)])
    assert small.upper - small.centre == pytest.approx(5 * (large.upper - large.centre))


def test_points_are_given_in_deviations_from_the_centre():
    """A point on the centre line is 0; where nothing varies any other is beyond all bounds."""
    lines = charts.individuals([1.0, 1.0, 1.0])
    assert (lines.standard(1.0), lines.standard(1.5), lines.standard(0.5)) == (0.0, math.inf, -math.inf)
    assert charts.individuals([0.0, 1.0]).standard(1.0) == pytest.approx(0.5 * charts.constants(2).d2)


def test_a_single_point_makes_no_chart():
    """One value has no moving range."""
    with pytest.raises(ValueError, match="2 values or more, got 1"):
        charts.individuals([1.0])
