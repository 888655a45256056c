"""Capability and tolerance factors against published tables."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import nct, norm

from batchtest.review.stats.capability import cpk_interval, indices
from batchtest.review.stats.tolerance import free_count, howe, one_sided, two_sided

SEED = 7


def test_the_indices_are_those_of_the_handbook(reference):
    """Limits 8 and 20, mean 16, s 2 (NIST/SEMATECH 6.1.6; from memory)."""
    case = reference("01_handbook_statistics", "capability-basic")
    given, expected = case["inputs"], case["expected"]
    found = indices(given["mean"], given["s"], given["lsl"], given["usl"])
    for ours, name in ((found.cp, "cp"), (found.lower, "cpl"), (found.upper, "cpu"), (found.cpk, "cpk")):
        assert expected[name] == pytest.approx(ours, abs=case["tolerance"]["abs"])


def test_the_interval_is_that_of_the_textbook(reference):
    """Cpk 1.33 from 20 values (Montgomery; from memory)."""
    case = reference("01_handbook_statistics", "cpk-ci-textbook")
    given, expected = case["inputs"], case["expected"]
    found = cpk_interval(given["cpk"], given["n"], given["conf"])
    assert (expected["lower"], expected["upper"]) == pytest.approx(found, abs=case["tolerance"]["abs"])


@settings(deadline=None)
@given(st.floats(-5, 5), st.floats(0.01, 5), st.floats(0.1, 5))
def test_one_limit_has_one_side_and_no_cp(mean, sd, room):
    """With a lower limit alone the room to it decides, and nothing is said of a width."""
    found = indices(mean, sd, mean - room, None)
    assert (found.cp, found.upper) == (None, None)
    assert room / sd / 3 == pytest.approx(found.cpk, rel=1e-6)
    assert indices(-mean, sd, None, room - mean).cpk == pytest.approx(found.cpk, rel=1e-6)


def test_no_spread_and_no_limit_have_no_capability():
    """A division by nothing is refused with what was given."""
    with pytest.raises(ValueError, match="spread above 0, got 0"):
        indices(1.0, 0.0, 0.0, 2.0)
    with pytest.raises(ValueError, match="needs a limit"):
        indices(1.0, 1.0, None, None)


def test_exact_factors_are_those_of_the_table(reference):
    """95 % confidence (Berthouex and Brown, Table 21.1); the approximation's values stand in the same note."""
    case = reference("01_handbook_statistics", "tolerance-table-a")
    given, expected = case["inputs"], case["expected"]
    for n in given["n"]:
        found = [two_sided(n, coverage, given["confidence"]) for coverage in given["coverage"]]
        assert expected[f"n{n}"] == pytest.approx(found, abs=case["tolerance"]["abs"])
    assert [howe(5, coverage, 0.95) for coverage in (0.9, 0.95, 0.99)] == pytest.approx([4.275, 5.094, 6.694], abs=5e-4)


def test_howe_is_that_of_the_handbook_and_the_exact_factor_is_wider(reference):
    """n 43, coverage 0.90, confidence 0.99 (NIST/SEMATECH 7.2.6.3); exact 2.2228, as the case notes."""
    case = reference("01_handbook_statistics", "tolerance-2sided-howe")
    given, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    factor = howe(given["n"], given["coverage"], given["confidence"])
    assert expected["k2"] == pytest.approx(factor, abs=tolerance["abs_k"])
    ends = given["mean"] - factor * given["s"], given["mean"] + factor * given["s"]
    assert (expected["lower"], expected["upper"]) == pytest.approx(ends, abs=tolerance["abs_limit"])
    assert two_sided(given["n"], given["coverage"], given["confidence"]) == pytest.approx(2.2228, abs=5e-5)


def test_one_sided_factors_are_those_of_the_tables(reference):
    """Coverage and confidence 95 % (ISO 16269-6 and Natrella's tables; from memory)."""
    case = reference("01_handbook_statistics", "tolerance-1sided-table")
    given = case["inputs"]
    found = [one_sided(n, given["coverage"], given["confidence"]) for n in given["n"]]
    assert case["expected"]["k"] == pytest.approx(found, abs=case["tolerance"]["abs"])


@settings(deadline=None, max_examples=20)
@given(st.integers(2, 400), st.sampled_from((0.8, 0.95, 0.99)), st.sampled_from((0.9, 0.95, 0.99)))
def test_one_sided_factors_are_those_of_the_reference_library(n, coverage, confidence):
    """Any count gives scipy's quantile of the non-central t."""
    theirs = nct.ppf(confidence, n - 1, norm.ppf(coverage) * math.sqrt(n)) / math.sqrt(n)
    assert theirs == pytest.approx(one_sided(n, coverage, confidence), rel=1e-8)


def test_an_exact_interval_holds_its_coverage_as_often_as_it_says():
    """Of 20,000 samples of eight, 95 % give an interval with 90 % of the distribution in it."""
    draws = np.random.default_rng(SEED).standard_normal((20_000, 8))
    mean, reach = draws.mean(axis=1), draws.std(axis=1, ddof=1) * two_sided(8, 0.90, 0.95)
    covered = norm.cdf(mean + reach) - norm.cdf(mean - reach)
    assert np.mean(covered >= 0.90) == pytest.approx(0.95, abs=4 * math.sqrt(0.95 * 0.05 / 20_000))


def test_factors_shrink_to_the_quantile_of_the_normal_distribution():
    """From millions of values nothing is left but the distribution's own width."""
    assert norm.ppf(0.975) == pytest.approx(two_sided(5_000_000, 0.95, 0.95), rel=1e-3)
    assert norm.ppf(0.95) == pytest.approx(one_sided(5_000_000, 0.95, 0.95), rel=1e-3)


def test_counts_without_a_distribution_are_the_well_known_ones():
    """93 and 46 on both sides, 59 and 29 on one (Wilks 1941)."""
    assert [free_count(0.95, 0.95, 2), free_count(0.90, 0.95, 2)] == [93, 46]
    assert [free_count(0.95, 0.95, 1), free_count(0.90, 0.95, 1)] == [59, 29]


@pytest.mark.parametrize("factor", [two_sided, one_sided, howe])
def test_one_value_has_no_tolerance_interval(factor):
    """Below two values there is no spread, and percent are no shares."""
    with pytest.raises(ValueError, match="no tolerance factor for 1 values"):
        factor(1, 0.95, 0.95)
    with pytest.raises(ValueError, match="coverage 95"):
        factor(10, 95, 0.95)
