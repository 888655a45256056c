"""Uncertainty of a reading, against the GUM's own examples."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.judging.accuracy import half_width
from batchtest.judging.uncertainty import coverage, effective_dof, of_reading, rectangular, resolution, type_a
from test_judging.tables import volts

AT_CALIBRATION = {"ambient_C": 23.0, "calibrated_at_C": 23.0}


@pytest.mark.parametrize(
    ("data", "mean", "uncertainty", "tolerance"),
    [
        pytest.param("V", "V", "u_V", "abs_V", id="volts"),
        pytest.param("I_mA", "I_mA", "u_I_mA", "abs_I", id="milliamperes"),
        pytest.param("phi", "phi", "u_phi", "abs_phi", id="radians"),
    ],
)
def test_scatter_of_a_mean_is_the_gums(reference, data, mean, uncertainty, tolerance):
    """JCGM 100:2008, H.2, Table H.2: five values each, mean and standard uncertainty of the mean."""
    case = reference("05_gum", "gum-h2-inputs")
    values = case["inputs"][data]
    scatter = type_a(statistics.stdev(values), len(values), nplc=1)
    assert case["expected"][mean] == pytest.approx(statistics.fmean(values), abs=case["tolerance"][tolerance])
    assert case["expected"][uncertainty] == pytest.approx(scatter, abs=case["tolerance"][tolerance])


def test_a_data_sheet_becomes_a_standard_uncertainty(reference):
    """JCGM 100:2008, 4.3.7 example 2 and 5.1.5: a voltmeter's specification and 12 uV of repeatability."""
    case = reference("05_gum", "gum-dvm")
    given_, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    row = volts(range="1 V", reading=f"{given_['ppm_reading']} ppm", of_range=f"{given_['ppm_range']} ppm")
    half = half_width(row, given_["V"], 23.0, 23.0)
    combined = of_reading(row, given_["V"], spread=given_["u_A"], count=1, nplc=1, **AT_CALIBRATION) / 2
    assert expected["half_width"] == pytest.approx(half, abs=tolerance["abs"])
    assert expected["u_B"] == pytest.approx(rectangular(half), abs=tolerance["abs_u_B"])
    assert expected["u_c"] == pytest.approx(combined, abs=tolerance["abs"])
    assert expected["rel_u_c"] == pytest.approx(combined / given_["V"], abs=tolerance["abs"])


def test_effective_degrees_of_freedom_are_the_gums(reference):
    """JCGM 100:2008, G.4.1 example: combined 1.03 %, 19 degrees of freedom, t95 2.09, U95 2.2 %."""
    case = reference("05_gum", "gum-g41-welch")
    shares, dof = case["inputs"]["u_rel_pct"], [n - 1 for n in case["inputs"]["n"]]
    found = effective_dof(list(zip(shares, dof, strict=True)))
    t95 = coverage(math.floor(found + 0.05), 0.95)
    assert case["expected"]["nu_eff"] == pytest.approx(found, abs=case["tolerance"]["abs_nu"])
    assert case["expected"]["t95"] == pytest.approx(t95, abs=case["tolerance"]["abs_t"])
    assert case["expected"]["U95_pct"] == pytest.approx(t95 * math.hypot(*shares), abs=case["tolerance"]["abs_U"])


@pytest.mark.parametrize("dof", [1, 2, 5, 10, 20])
def test_coverage_factors_are_the_gums(reference, dof):
    """JCGM 100:2008, Table G.2; its last column is three sigma, 2 Phi(3) - 1, printed as 99.73 %."""
    case = reference("05_gum", "gum-table-g2-a")
    probabilities = [math.erf(3 / math.sqrt(2)) if p == 0.9973 else p for p in case["inputs"]["p"]]
    found = [coverage(dof, p) for p in probabilities]
    assert case["expected"][f"nu{dof}"] == pytest.approx(found, abs=case["tolerance"]["abs"] + 1e-9)


def test_a_data_sheet_alone_has_no_end_of_freedom():
    """Without a part that was sampled the coverage is the normal distribution's, k = 2 for 95.45 %."""
    assert math.isinf(effective_dof([(0.3, math.inf), (0.4, math.inf)]))
    assert coverage(math.inf) == pytest.approx(2.0, abs=1e-3)


def test_divisors_are_the_gums(reference):
    """JCGM 100:2008, 4.3.7 and F.2.2.1: a/sqrt 3 for a half-width, d/sqrt 12 for a display's step."""
    case = reference("05_gum", "type-b-divisors")
    expected, tolerance = case["expected"], case["tolerance"]["abs"]
    assert expected["rectangular"] == pytest.approx(rectangular(case["inputs"]["a"]), abs=tolerance)
    assert expected["resolution"] == pytest.approx(resolution(case["inputs"]["d"]), abs=tolerance)


@pytest.mark.parametrize(
    ("nplc", "divided"),
    [
        pytest.param(1, True, id="one-cycle"),
        pytest.param(10.0, True, id="ten-cycles"),
        pytest.param(0.02, False, id="part-of-a-cycle"),
        pytest.param(1.5, False, id="one-and-a-half"),
        pytest.param(0, False, id="not-known"),
    ],
)
def test_hum_is_not_averaged_away(nplc, divided):
    """Only whole line cycles reject hum; below, a mean is known as one value is. Common practice, no source."""
    assert (0.001 if divided else 0.004) == pytest.approx(type_a(0.004, 16, nplc))


def test_a_readings_interval_holds_the_truth_as_often_as_it_says():
    """By Monte Carlo: with U at k = 2 the interval about a reading holds the true value about 95 times in 100."""
    rng = np.random.default_rng(20260301)
    row, true, noise, count, draws = volts(), 5.0, 400e-6, 4, 40_000
    off = rng.uniform(-1, 1, draws) * half_width(row, true, 23.0, 23.0)
    read = true + off + rng.normal(0, noise, (count, draws)).mean(axis=0)
    expanded = of_reading(row, true, spread=noise, count=count, nplc=1, **AT_CALIBRATION)
    assert np.mean(abs(read - true) <= expanded) == pytest.approx(0.96, abs=0.02)


@given(spread=st.floats(0, 1), count=st.integers(1, 50), nplc=st.sampled_from([0.1, 1, 10]), value=st.floats(-10, 10))
def test_a_reading_is_never_better_than_its_data_sheet(spread, count, nplc, value):
    """However many values are averaged, what the instrument itself may be off stays."""
    found = of_reading(volts(), value, spread=spread, count=count, nplc=nplc, **AT_CALIBRATION)
    assert found >= 2 * rectangular(half_width(volts(), value, 23.0, 23.0))
