"""A series resistor's heat and what is left of its rating when it is warm."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from batchtest.capacity.model import ResistorData
from batchtest.capacity.resistor import allowed_W, heat, largest_A
from test_capacity.outlets import RESISTOR


def test_film_resistor_at_125_C(reference):
    """Public tutorial on metal film: 1 W at 70 C, none at 155 C, 10 kohm: 35 % and 59.16 V are left at 125 C."""
    case = reference("10_supply_and_derating", "film-derating-a")
    given_, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    part = ResistorData(
        ohm=given_["R"], rating_W=given_["P70"], tolerance=0.0, full_to_C=given_["T0"], none_at_C=given_["Tmax"]
    )
    share = allowed_W(part, given_["T"]) / given_["P70"]
    assert expected["fraction"] == pytest.approx(share, abs=tolerance["abs_fraction"])
    assert expected["V"] == pytest.approx(largest_A(part, given_["T"]) * given_["R"], abs=tolerance["abs_V"])


def test_film_resistor_over_temperature(reference):
    """MIL-PRF-39017 curve as reprinted, read off to 5 %: the straight line follows it."""
    case = reference("10_supply_and_derating", "mil-film-derating")
    part = ResistorData(ohm=1.0, rating_W=100.0)
    found = [allowed_W(part, at_C) for at_C in case["inputs"]["T"]]
    assert case["expected"]["pct"] == pytest.approx(found, abs=case["tolerance"]["abs"])


def test_a_current_heats_the_upper_end_of_the_tolerance():
    """0.2 A in 15 ohm and 5 % are 0.63 W of 2 W: a share of 31.5 %."""
    found = heat(RESISTOR, 0.2, 50.0)
    assert found.heat_W == pytest.approx(0.63)
    assert found.share == pytest.approx(0.315)


def test_the_largest_current_uses_all_that_is_allowed():
    """At the limit the share is one, warm or not."""
    for at_C in (20.0, 70.0, 110.0):
        assert heat(RESISTOR, largest_A(RESISTOR, at_C), at_C).share == pytest.approx(1.0)


def test_where_nothing_is_allowed_any_heat_is_too_much():
    """At 155 C the resistor may shed nothing; without a current that is no fault."""
    assert largest_A(RESISTOR, 155.0) == 0.0
    assert heat(RESISTOR, 0.1, 155.0).share == math.inf
    assert heat(RESISTOR, 0.0, 155.0).share == 0.0
    assert allowed_W(replace(RESISTOR, none_at_C=200.0), 199.0) > 0
