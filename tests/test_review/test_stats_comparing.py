"""Comparisons: Fisher's exact test, Holm's correction and Welch's interval against outside values."""

from __future__ import annotations

from fractions import Fraction
from math import comb

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import fisher_exact, ttest_ind_from_stats
from statsmodels.stats.multitest import multipletests

from batchtest.review.stats.comparing import fisher, holm, welch_interval


def summed(one, other):
    """Fisher's probability by adding up whole binomials, without a rounding."""
    (a, n), (b, m) = one, other
    ways = {k: comb(n, k) * comb(m, a + b - k) for k in range(max(0, a + b - m), min(n, a + b) + 1)}
    return float(Fraction(sum(way for way in ways.values() if way <= ways[a]), sum(ways.values())))


@settings(deadline=None)
@given(st.integers(1, 60), st.integers(1, 60), st.data())
def test_the_exact_test_is_the_sum_of_all_less_likely_tables(n, m, data):
    """Two shares of any size give the sum that the definition asks for."""
    one, other = (data.draw(st.integers(0, n)), n), (data.draw(st.integers(0, m)), m)
    assert summed(one, other) == pytest.approx(fisher(one, other), rel=1e-9)


@pytest.mark.parametrize(
    ("one", "other"),
    [
        pytest.param((29_950, 30_000), (299_000, 300_000), id="large"),
        pytest.param((0, 40), (600_000, 660_000), id="a-batch-against-all"),
        pytest.param((499_900, 500_000), (500_000, 500_000), id="as-large-as-they-come"),
    ],
)
def test_large_shares_are_those_of_the_reference_library(one, other):
    """Hundreds of thousands of boards give what scipy gives, however small the probability."""
    table = [[count, of - count] for count, of in (one, other)]
    assert fisher_exact(table).pvalue == pytest.approx(fisher(one, other), rel=1e-6)


@pytest.mark.parametrize(
    ("one", "other", "p"),
    [
        pytest.param((18, 20), (20, 20), 0.487, id="two-of-twenty-cannot-be-told"),
        pytest.param((15, 20), (20, 20), 0.0471, id="five-of-twenty-can"),
        pytest.param((3, 4), (1, 4), 0.486, id="tea-tasting"),
    ],
)
def test_small_tables_have_their_well_known_probabilities(one, other, p):
    """3 and 1 of 4 is the tea tasting of Fisher (1935): 34/70 two-sided; the others by hand."""
    assert p == pytest.approx(fisher(one, other), abs=5e-4)


def test_a_group_without_boards_differs_from_none():
    """Nothing counted is no difference."""
    assert fisher((0, 0), (3, 5)) == 1.0


@settings(deadline=None, max_examples=8)
@given(st.lists(st.floats(0, 1), min_size=1, max_size=30))
def test_the_correction_is_that_of_the_reference_library(probabilities):
    """Any probabilities give what statsmodels gives."""
    assert multipletests(probabilities, method="holm")[1].tolist() == pytest.approx(holm(probabilities))


@settings(deadline=None)
@given(
    *[st.tuples(st.integers(2, 50), st.floats(-10, 10), st.floats(0.01, 5))] * 2,
)
def test_the_interval_of_a_difference_excludes_nothing_exactly_where_the_test_says_so(one, other):
    """Welch's interval has 0 on its end where scipy's test gives just that probability."""
    low, high = welch_interval(one, other, 0.95)
    p = ttest_ind_from_stats(one[1], one[2], one[0], other[1], other[2], other[0], equal_var=False).pvalue
    assert (low <= 0 <= high) == (p >= 0.05)
    assert one[1] - other[1] == pytest.approx((low + high) / 2, abs=1e-9)


def test_means_without_spread_differ_by_what_they_differ():
    """All boards equal in both: no doubt is left to compute."""
    assert welch_interval((3, 2.0, 0.0), (4, 1.5, 0.0), 0.95) == (0.5, 0.5)
