"""A resettable fuse by its data sheet: derating, regions, times, what it lets through."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.capacity.derating import share
from batchtest.capacity.fuse import Region, hold_A, longest_trip_s, region, trip_A, tripped_A
from batchtest.capacity.model import Derating
from batchtest.capacity.outlet import fuse_data
from batchtest.files.generic_fuses import generic_fuses
from test_capacity.outlets import DERATING, FUSE

GENERIC = {name: fuse_data(fuse) for name, fuse in generic_fuses().items()}


def test_the_generic_table_derates_as_such_parts_do(reference):
    """Typical of public data sheets, shape only, from memory: shares of the 20 C rating from -40 to 85 C."""
    case = reference("09_ptc_fuse", "derating-shape")
    found = [share(GENERIC["1812-020"].derating, at_C) for at_C in case["inputs"]["T"]]
    assert case["expected"]["fraction"] == pytest.approx(found, abs=case["tolerance"]["abs"])


def test_the_generic_table_has_ratings_of_a_public_series(reference):
    """Public data sheet, 1812-size series of 25 ratings: each generic pair of hold and trip current is one of them."""
    inputs = reference("09_ptc_fuse", "hold-trip-ratio")["inputs"]
    pairs = set(zip(inputs["i_hold"], inputs["i_trip"], strict=True))
    assert {(fuse.hold_A, fuse.trip_A) for fuse in GENERIC.values()} <= pairs


def test_trip_is_about_twice_hold(reference):
    """Common practice, no source: 2.5 A hold, 5 A trip.

    The public series has 1.75 to 3 times, with 2 in the middle; so has the generic table.
    """
    expected = reference("09_ptc_fuse", "hold-trip-ratio")["expected"]
    ratios = sorted(fuse.trip_A / fuse.hold_A for fuse in GENERIC.values())
    assert expected["ratio_min"] <= ratios[0]
    assert ratios[-1] <= expected["ratio_max"] + 1e-9
    assert expected["ratio_median"] == pytest.approx(ratios[len(ratios) // 2])


def test_drops_at_hold_follow_the_resistance_window(reference):
    """Public data sheet, 0805 size: hold current times R1max is the drop that a fuse may have after a trip."""
    case = reference("09_ptc_fuse", "resistance-window")
    given_, expected = case["inputs"], case["expected"]
    for hold, least, most, drop_V, ratio in zip(
        given_["i_hold"],
        given_["r_min"],
        given_["r1_max"],
        expected["v_drop_max_at_hold"],
        expected["ratio_r1max_rmin"],
        strict=True,
    ):
        fuse = replace(FUSE, hold_A=hold, r_min_ohm=least, r1_max_ohm=most)
        assert drop_V == pytest.approx(hold_A(fuse, fuse.at_C) * fuse.r1_max_ohm, abs=case["tolerance"]["abs"])
        assert ratio == pytest.approx(fuse.r1_max_ohm / fuse.r_min_ohm, abs=case["tolerance"]["abs"])


@given(at_C=st.floats(-60, 85))
def test_a_share_lies_between_those_of_the_knots_beside_it(at_C):
    """Never more than the coldest share, never less than the warmest."""
    assert 0.45 <= share(DERATING, at_C) <= 1.48


def test_warmer_than_the_table_is_refused():
    """Nobody says what is left there, and a guess might burn something."""
    with pytest.raises(ValueError, match=r"derating ends at 85 C, 90 C is asked; add what the data sheet says"):
        hold_A(FUSE, 90.0)


def test_a_fuse_stated_at_another_temperature_is_as_stated_there():
    """Makers state ratings at 20, 23 or 25 C (public data sheets): there the derating leaves all of it."""
    assert hold_A(replace(FUSE, at_C=25.0), 25.0) == pytest.approx(FUSE.hold_A)


def test_between_hold_and_trip_nothing_is_said():
    """At 20 C 0.2 A holds and 0.4 A trips; at 60 C both are down to two thirds."""
    at_20 = [region(FUSE, current, 20.0) for current in (0.2, 0.3, 0.4)]
    assert at_20 == [Region.HOLDS, Region.UNDEFINED, Region.TRIPS]
    assert region(FUSE, 0.2, 60.0) is Region.UNDEFINED
    assert (hold_A(FUSE, 60.0), trip_A(FUSE, 60.0)) == pytest.approx((0.134, 0.268))


def test_the_time_to_trip_is_the_stated_one_where_it_is_stated():
    """1 A trips within 8 s; far above, the time goes with the square of the current; at trip current it never ends."""
    assert longest_trip_s(FUSE, 1.0, 20.0) == pytest.approx(8.0)
    assert longest_trip_s(FUSE, 40.0, 20.0) / longest_trip_s(FUSE, 20.0, 20.0) == pytest.approx(0.25, rel=1e-3)
    assert longest_trip_s(FUSE, 0.4, 20.0) == math.inf


def test_a_warmer_fuse_trips_sooner():
    """The hotter it stands, the less is missing to the switch temperature."""
    times = [longest_trip_s(FUSE, 1.0, at_C) for at_C in (0.0, 20.0, 40.0, 60.0)]
    assert times == sorted(times, reverse=True)


def test_what_flows_through_a_tripped_fuse_is_its_heat_over_the_voltage():
    """Common practice: 0.6 W at 12 V leave 50 mA."""
    assert tripped_A(FUSE, 12.0, 20.0) == pytest.approx(0.05)
    assert tripped_A(FUSE, 12.0, 60.0) == pytest.approx(0.05 * 0.67**2)


def test_a_flat_derating_changes_nothing():
    """A part that is not derated holds the same everywhere its table reaches."""
    flat = replace(FUSE, derating=Derating(knots=((0.0, 1.0), (85.0, 1.0))))
    assert hold_A(flat, 70.0) == FUSE.hold_A
