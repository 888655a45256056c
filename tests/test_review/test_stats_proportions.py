"""Intervals of a share: published values, statsmodels, and what must hold of any."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from batchtest.review.stats.proportions import exact_interval, wilson_interval

CONFIDENCES = st.sampled_from((0.8, 0.9, 0.95, 0.99))


@st.composite
def counted(draw):
    """A count out of a count."""
    of = draw(st.integers(1, 2000))
    return draw(st.integers(0, of)), of


def test_the_exact_interval_is_the_published_one(reference):
    """4 of 20 at 90 %, as in the handbook (NIST/SEMATECH 7.2.4.1); its upper end is exact here, not the artefact."""
    case = reference("01_handbook_statistics", "clopper-pearson")
    given, expected = case["inputs"], case["expected"]
    lower, upper = exact_interval(given["count"], given["n"], given["conf"])
    assert expected["lower"] == pytest.approx(lower, abs=case["tolerance"]["abs"])
    assert expected["upper_exact"] == pytest.approx(upper, abs=5e-9)


def test_the_one_sided_score_limit_is_the_published_one(reference):
    """26 of 200, lower 95 % limit (NIST/SEMATECH 7.2.4.1)."""
    case = reference("01_handbook_statistics", "wilson-onesided")
    given, expected = case["inputs"], case["expected"]
    lower, upper = wilson_interval(given["count"], given["n"], given["conf"], "lower")
    assert expected["lower"] == pytest.approx(lower, abs=case["tolerance"]["abs"])
    assert upper == 1.0


def test_both_intervals_are_those_of_the_comparison_of_methods(reference):
    """81 of 263 and 0 of 20 (Newcombe 1998, Table I; from memory)."""
    case = reference("01_handbook_statistics", "newcombe-a")
    for method, name in ((wilson_interval, "wilson"), (exact_interval, "clopper_pearson")):
        found = [method(count, of, case["inputs"]["conf"]) for count, of in case["inputs"]["cases"]]
        for ours, theirs in zip(found, case["expected"][name], strict=True):
            assert theirs == pytest.approx(ours, abs=case["tolerance"]["abs"])


@settings(deadline=None)
@given(counted(), CONFIDENCES)
def test_both_intervals_are_those_of_the_reference_library(share, confidence):
    """Any count gives what statsmodels gives."""
    count, of = share
    for method, name in ((exact_interval, "beta"), (wilson_interval, "wilson")):
        theirs = proportion_confint(count, of, 1 - confidence, name)
        assert theirs == pytest.approx(method(count, of, confidence), abs=1e-9)


@settings(deadline=None)
@given(counted(), CONFIDENCES)
def test_one_side_puts_all_its_doubt_on_one_end(share, confidence):
    """A one-sided end is that of the two-sided interval with twice the doubt."""
    count, of = share
    for method in (exact_interval, wilson_interval):
        both = method(count, of, 1 - 2 * (1 - confidence))
        assert method(count, of, confidence, "lower") == pytest.approx((both[0], 1.0))
        assert method(count, of, confidence, "upper") == pytest.approx((0.0, both[1]))


@settings(deadline=None)
@given(counted())
def test_a_share_lies_in_its_interval_and_mirrors(share):
    """Failures have the mirrored interval of passes, and the share lies inside."""
    count, of = share
    for method in (exact_interval, wilson_interval):
        lower, upper = method(count, of, 0.95)
        assert 0 <= lower <= count / of <= upper <= 1
        assert (1 - upper, 1 - lower) == pytest.approx(method(of - count, of, 0.95))


def test_nothing_counted_tells_nothing():
    """0 of 0 may be anything."""
    assert exact_interval(0, 0, 0.95) == wilson_interval(0, 0, 0.95) == (0.0, 1.0)


@pytest.mark.parametrize("method", [exact_interval, wilson_interval])
@pytest.mark.parametrize(
    ("count", "of", "confidence", "message"),
    [
        pytest.param(3, 2, 0.95, "0 <= count <= of, got 3 of 2", id="more-than-all"),
        pytest.param(-1, 2, 0.95, "got -1 of 2", id="negative"),
        pytest.param(1, 2, 95.0, "between 0 and 1, got 95", id="percent"),
    ],
)
def test_what_is_no_share_is_refused(method, count, of, confidence, message):
    """A count beyond its whole, or a confidence in percent, is no number to work with."""
    with pytest.raises(ValueError, match=message):
        method(count, of, confidence)
