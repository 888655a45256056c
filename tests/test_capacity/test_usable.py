"""The answer in one sentence: the lowest of all terms, and which it is."""

from __future__ import annotations

from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity import usable as terms
from batchtest.capacity.model import Ceiling, Usable
from batchtest.capacity.usable import carries_A, floor_V, sentence, usable
from test_capacity.outlets import FUSE, RESISTOR, curve_of, demand, straight_source

RATINGS = (Ceiling(term="the connector", current_A=2.0), Ceiling(term="the wire", current_A=1.5))
LIMITED = curve_of(straight_source(12.0, 15.0))
STIFF = curve_of(straight_source(12.0, 1.0), (0.0, 0.5, 1.0, 1.8))


def answer(curve=LIMITED, limiter=RESISTOR, ratings=RATINGS, **keys):
    """An outlet of the tests' own at 50 C, without a margin."""
    return usable(curve, limiter, ratings, **{"floor_V": 10.5, "at_C": 50.0, "margin": 1.0, **keys})


@pytest.mark.parametrize(
    ("keys", "term", "current_A"),
    [
        pytest.param({}, terms.VOLTAGE, 0.1, id="voltage"),
        pytest.param({"floor_V": 0.0}, terms.NOT_MEASURED, 0.2, id="not-measured"),
        pytest.param({"limiter": FUSE, "curve": STIFF}, terms.HOLD, 0.15, id="hold"),
        pytest.param({"limiter": replace(RESISTOR, rating_W=0.1)}, terms.HEAT, 0.0797, id="heat"),
        pytest.param({"ratings": (Ceiling(term="the plug", current_A=0.05),)}, "the plug", 0.05, id="rating"),
    ],
)
def test_the_lowest_term_limits_and_is_named(keys, term, current_A):
    """12 V behind 15 ohm and a floor of 10.5 V are 0.1 A; a fuse of 0.2 A holds three quarters at 50 C; and so on."""
    found = answer(**keys)
    assert found.term == term
    assert found.current_A == pytest.approx(current_A, rel=2e-3)
    assert [ceiling.current_A for ceiling in found.ceilings] == sorted(c.current_A for c in found.ceilings)


@given(margin=st.floats(0.1, 1.0), at_C=st.floats(-20, 80))
def test_never_more_than_any_term_allows(margin, at_C):
    """Whatever the margin and the ambient, the answer is the margin's share of the lowest term."""
    found = answer(limiter=FUSE, margin=margin, at_C=at_C)
    assert found.current_A == pytest.approx(margin * min(c.current_A for c in found.ceilings))


def test_what_may_flow_is_not_a_matter_of_voltage():
    """The things that need less voltage may draw more, up to what a part can carry."""
    assert carries_A(answer()) == pytest.approx(0.356, abs=1e-3)
    assert carries_A(answer(limiter=FUSE)) == pytest.approx(0.15)


def test_the_floor_is_that_of_the_neediest_thing_at_the_plug():
    """9 V at the end of 10 m of 0.25 mm2 at 0.2 A need 9.28 V at the outlet; nothing plugged in needs nothing."""
    far = demand("router", 0.1, peak_A=0.2, length_m=10.0)
    assert floor_V([demand(), far], 20.0) == pytest.approx(9 + 2 * 0.2 * 0.017241 * 10 / 0.25)
    assert floor_V([], 20.0) == 0.0


@pytest.mark.parametrize(
    ("current_A", "said"),
    [
        (0.149, "Usable to 140 mA at 50 C, limited by the voltage that is left."),
        (0.13, "Usable to 130 mA at 50 C, limited by the voltage that is left."),
        (1.999, "Usable to 1.9 A at 50 C, limited by the voltage that is left."),
        (0.0999, "Usable to 99 mA at 50 C, limited by the voltage that is left."),
        (0.0, "Not usable at 50 C: the voltage that is left is already too low without a load."),
    ],
)
def test_the_sentence_never_rounds_up(current_A, said):
    """Two digits, cut: what is promised is there."""
    assert said == sentence(Usable(current_A=current_A, at_C=50.0, term=terms.VOLTAGE, ceilings=()))
