"""Means and spreads from whole sums, against certified values; constants of charts against printed tables."""

from __future__ import annotations

import math
from decimal import Decimal
from fractions import Fraction

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.review.stats.charts import Subgroup
from batchtest.review.stats.charts import means as means_of
from batchtest.review.stats.charts import sds as sds_of
from batchtest.review.stats.constants import c4, constants
from batchtest.review.stats.moments import autocorrelation, mean, sd

MICRO = 1_000_000
#: Steps that a 64-bit integer holds, as records do.
STEPS = st.integers(-(10**12), 10**12)


def values_of(inputs):
    """Values as the data sets' files print them, in whole micro."""
    if "x" in inputs:
        numbers = inputs["x"]
    else:
        numbers = [inputs["first"], *[each for _ in range(inputs["pairs"]) for each in inputs["pair"]]]
    return [int(Decimal(repr(number)) * MICRO) for number in numbers]


@pytest.mark.parametrize("case", ["numacc1", "numacc2", "numacc3", "mavro"])
def test_mean_and_spread_are_the_certified_ones(reference, case):
    """NIST StRD univariate sets; whole sums lose no digit, not even where a one-pass float sum loses all."""
    found = reference("02_strd_numerics", case)
    steps, expected = values_of(found["inputs"]), found["expected"]
    off = [step - 5 * MICRO for step in steps]
    sums = len(off), sum(off), sum(step * step for step in off)
    assert expected["mean"] == mean(sums[0], sums[1], 5 * MICRO, MICRO)
    assert expected["sd"] == pytest.approx(sd(*sums, MICRO), rel=2e-15)


@pytest.mark.parametrize("case", ["numacc1", "numacc2", "numacc3", "mavro"])
def test_correlation_with_the_value_before_is_the_certified_one(reference, case):
    """NIST StRD again; in whole micro, so that only the sums of floats err."""
    found = reference("02_strd_numerics", case)
    steps = values_of(found["inputs"])
    assert found["expected"]["r1"] == pytest.approx(autocorrelation([step - steps[0] for step in steps]), rel=1e-9)


@settings(deadline=None)
@given(st.lists(STEPS, min_size=2, max_size=40), STEPS)
def test_the_origin_of_the_sums_changes_no_digit(steps, origin):
    """Sums about any origin give the very same mean and spread."""
    found = []
    for about in (0, origin):
        off = [step - about for step in steps]
        found.append(
            (
                mean(len(off), sum(off), about, MICRO),
                sd(len(off), sum(off), sum(step * step for step in off), MICRO),
            )
        )
    assert found[0] == found[1]
    exact = Fraction(sum(steps), len(steps))
    variance = sum((step - exact) ** 2 for step in steps) / (len(steps) - 1)
    assert (float(exact / MICRO), math.sqrt(variance / MICRO**2)) == found[0]


def test_one_value_has_no_spread_and_equal_values_no_correlation():
    """What cannot be told is `None`, not 0."""
    assert sd(1, 5, 25, MICRO) is None
    assert autocorrelation([2.5, 2.5, 2.5]) is None


@pytest.mark.parametrize("size", [2, 3, 4, 5, 6, 7, 10])
def test_constants_are_those_of_the_printed_table(reference, size):
    """ASTM's table as reprinted; D4 of 3 is printed 2.574 for 2.5746, and that of 5 2.114 for 2.1145."""
    case = reference("01_handbook_statistics", "chart-constants-a")
    found, mean_s = constants(size), c4(size)
    (means,) = means_of([(group := Subgroup(count=size, mean=5.0, sd=1.0))])
    (sds,) = sds_of([group])
    ours = {
        "d2": found.d2, "d3": found.d3, "c4": mean_s, "D3": found.D3, "D4": found.D4,
        "A2": 3 / (found.d2 * size**0.5), "A3": means.upper - means.centre,
        "B3": sds.lower / sds.centre, "B4": sds.upper / sds.centre,
    }  # fmt: skip
    for name, printed in case["expected"][f"n{size}"].items():
        within = case["tolerance"]["abs_d3_c4" if name in ("d3", "c4") else "abs_3dp"]
        assert printed == pytest.approx(ours[name], abs=within), name


def test_constants_of_one_range_are_those_of_gauge_studies(reference):
    """K3 is one over d2*, the root of d2 squared and d3 squared (AIAG MSA, App. C): 2 to 10 parts.

    The printed d2* are off by up to 1 in the fifth decimal, K3 in none that is printed.
    """
    case = reference("03_gauge_rr", "grr-k-constants")
    found = [math.hypot(constants(size).d2, constants(size).d3) for size in range(2, 11)]
    assert case["inputs"]["d2star_g1"] == pytest.approx(found, abs=1.1e-5)
    assert case["expected"]["K3"] == pytest.approx([1 / each for each in found], abs=case["tolerance"]["abs"])


def test_the_range_chart_of_the_gauge_study_has_the_cell_that_is_out(reference):
    """Ranges of three trials against D4 times their mean (AIAG MSA, Fig. III-B); printed with D4 2.574."""
    study, case = reference("03_gauge_rr", "grr-average-range"), reference("03_gauge_rr", "grr-range-limit")
    ranges = {
        (who, part + 1): max(found) - min(found)
        for who, trials in study["inputs"]["data"].items()
        for part, found in enumerate(zip(*trials, strict=True))
    }
    limit = constants(3).D4 * sum(ranges.values()) / len(ranges)
    assert case["expected"]["ucl_r"] == pytest.approx(limit * 2.574 / constants(3).D4, abs=1e-4)
    assert [cell for cell, found in ranges.items() if found > limit] == [("B", 4)]


def test_the_range_of_two_is_known_in_closed_form():
    """Of two normal values the mean range is 2 / root pi, and its square has mean 2."""
    found = constants(2)
    assert 2 / math.sqrt(math.pi) == pytest.approx(found.d2, rel=1e-12)
    assert math.sqrt(2 - 4 / math.pi) == pytest.approx(found.d3, rel=1e-12)


@settings(deadline=None)
@given(st.integers(2, 10_000_000))
def test_the_bias_of_a_spread_is_its_published_series(size):
    """c4 is 4 (n - 1) / (4 n - 3) but for 1 / n squared and less, for few values and for many."""
    assert 4 * (size - 1) / (4 * size - 3) == pytest.approx(c4(size), abs=0.2 / size**2 + 1e-12)


def test_a_single_value_has_no_bias_to_take_off():
    """A spread of one value is not defined."""
    with pytest.raises(ValueError, match="2 values or more, got 1"):
        c4(1)
