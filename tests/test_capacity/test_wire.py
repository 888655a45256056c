"""Copper leads against wire tables."""

from __future__ import annotations

import math

import pytest

from batchtest.capacity.model import Lead
from batchtest.capacity.wire import area_of_awg, core_ohm, drop_V

KFT_M = 304.8


def test_diameters_of_gauge_numbers(reference):
    """ASTM B258: the diameters of 10, 18, 24 and 30 gauge in mm."""
    case = reference("07_parts_and_wire", "awg-diameter")
    found = [2 * math.sqrt(area_of_awg(number) / math.pi) for number in case["inputs"]["awg"]]
    assert case["expected"]["d_mm"] == pytest.approx(found, abs=case["tolerance"]["abs"])


def test_resistances_of_gauge_numbers(reference):
    """Handbook wire table (NBS Copper Wire Tables as reprinted): ohm per 1000 ft at 20 C."""
    case = reference("07_parts_and_wire", "awg-resistance-a")
    found = [core_ohm(Lead(length_m=KFT_M, area_mm2=area_of_awg(n)), 20.0) for n in case["inputs"]["awg"]]
    assert case["expected"]["ohm_per_kft"] == pytest.approx(found, rel=case["tolerance"]["rel"])


def test_copper_warms(reference):
    """IEC 60028, from memory: 84.22 ohm at 20 C are 94.15 at 50 C and 102.42 at 75 C."""
    case = reference("07_parts_and_wire", "copper-tempco")
    cold = core_ohm(Lead(length_m=1.0, area_mm2=1.0), 20.0)
    for at_C, ohm in zip(case["inputs"]["T"], case["expected"]["r"], strict=True):
        warm = core_ohm(Lead(length_m=1.0, area_mm2=1.0), at_C) / cold * case["inputs"]["r20"]
        assert ohm == pytest.approx(warm, abs=case["tolerance"]["abs"])


def test_a_lead_drops_on_the_way_there_and_back():
    """Ten metres of 1 mm2 have twice 0.1724 ohm: 0.34 V at 1 A."""
    assert drop_V(Lead(length_m=10.0, area_mm2=1.0), 1.0, 20.0) == pytest.approx(2 * 0.17241)


@pytest.mark.parametrize("number", [-1, 41])
def test_a_gauge_that_is_none_is_refused(number):
    """Larger cables have other names, and below 40 there is none to be had."""
    with pytest.raises(ValueError, match=rf"has gauge {number}; write one from 0 to 40"):
        area_of_awg(number)
