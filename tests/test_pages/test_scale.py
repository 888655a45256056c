"""One prefix and one number of decimals for values that stand together."""

from __future__ import annotations

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.nouns import Limit, Reading
from batchtest.pages.scale import Scale, scale_for, scale_of
from test_pages.examples import line


@pytest.mark.parametrize(
    ("sizes", "unit", "uncertainties", "value", "text"),
    [
        pytest.param([4.9, 5.1], "V", [0.0004], 4.98, "4.98000 V", id="two-digits-of-U"),
        pytest.param([0.05], "V", [0.0011], -0.0002, "-0.2 mV", id="milli"),
        pytest.param([0.05], "V", [0.0011], -0.00002, "0.0 mV", id="no-minus-zero"),
        pytest.param([1e5], "ohm", [], 123456.0, "123.5 kohm", id="no-U"),
        pytest.param([0.02], "%", [0.0002], 0.0084, "0.840 %", id="ratio"),
        pytest.param([1.0], "V", [0.01, 0.0001], 0.5, "0.5000 V", id="least-U-still-shows"),
        pytest.param([], "A", [], 0.0, "0.000 A", id="nothing-known"),
        pytest.param([math.inf, 3.0], "V", [], 3.0, "3.000 V", id="infinite-is-left-out"),
    ],
)
def test_a_scale_shows_what_is_known_and_no_more(sizes, unit, uncertainties, value, text):
    """Prefix by the largest size, decimals by the uncertainty."""
    assert scale_for(sizes, unit, uncertainties).of(value) == text


@pytest.mark.parametrize(
    ("limit", "text"),
    [
        pytest.param(Limit(lower=4.9, upper=5.1), "4.9 to 5.1 V", id="both"),
        pytest.param(Limit(lower=-5), "≥ -5 V", id="lower"),
        pytest.param(Limit(upper=0.0), "≤ 0 V", id="upper"),
        pytest.param(Limit(), "no limit", id="neither"),
        pytest.param(None, "no limit", id="none"),
    ],
)
def test_limits_are_written_with_the_bounds_there_are(limit, text):
    """One bound is enough for a limit."""
    assert Scale("V", 0, 3).limits(limit) == text


@pytest.mark.parametrize(
    ("reading", "text"),
    [
        pytest.param(Reading(value=None, unit="ohm"), "no reading", id="none"),
        pytest.param(Reading(value=math.nan, unit="ohm"), "no reading", id="not-a-number"),
        pytest.param(Reading(value=None, unit="ohm", beyond=1e8), "> 100 Mohm", id="beyond"),
        pytest.param(Reading(value=5.0, unit="ohm"), "5.000 ohm", id="value"),
    ],
)
def test_a_reading_without_a_number_is_said_in_words(reading, text):
    """No reading never looks like a number."""
    assert Scale("ohm", 0, 3).reading(reading) == text


def test_lines_that_stand_together_share_a_prefix():
    """The bounds choose it, so that a dead rail still reads in volts."""
    scale = scale_of([line("a", 5.0, lower=4.9, upper=5.1), line("b", 0.001, lower=4.9, upper=5.1)])
    assert scale.of(0.001) == "0.00100 V"


@given(
    st.floats(1e-9, 1e9),
    st.floats(-1e9, 1e9, allow_nan=False),
    st.lists(st.floats(1e-9, 1e3), max_size=3),
    st.sampled_from(["V", "A", "ohm"]),
)
def test_a_number_reads_back_within_its_last_digit(size, value, uncertainties, unit):
    """What is shown is the value, rounded to the decimals of its scale."""
    scale = scale_for([size], unit, uncertainties)
    shown = float(re.fullmatch(r"(-?[\d.]+) \w+", scale.of(value))[1]) * 10.0**scale.power
    assert abs(shown - value) <= 0.5000001 * 10.0 ** (scale.power - scale.decimals) + 1e-9 * abs(value)
