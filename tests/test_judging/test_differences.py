"""Regulation and output resistance: values against outside definitions, uncertainties against Monte Carlo."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.judging.accuracy import half_width
from batchtest.judging.differences import Shared, output_resistance, regulation, shared
from batchtest.judging.uncertainty import COVERAGE, rectangular
from batchtest.nouns import Reading
from test_judging.tables import amperes, volts

PERFECT = Shared(meter_gain=0.0)
#: Far worse than any bench, so that each term shows in the sum.
ROUGH = Shared(meter_gain=0.02, load_gain=0.015, load_offset_A=0.004)
DRAWS = 200_000


def read(value: float | None, **keys: object) -> Reading:
    """A voltage that was averaged over four values at one line cycle."""
    return Reading(value=value, unit="V", **{"spread": 0.0, "count": 4, "nplc": 1.0, **keys})  # type: ignore[arg-type]


def readings(open_V: float, ohm: float, currents_A: tuple[float, ...], spread: float = 0.0) -> list[Reading]:
    """A rail with an output resistance, read without error."""
    return [read(open_V - ohm * current, spread=spread) for current in currents_A]


def test_regulation_is_a_share_of_nominal(reference):
    """IEC 61204 vocabulary (load effect): 5.05 V to 4.95 V is 2 % of the nominal 5 V, not 2.02 % nor 1.98 %."""
    case = reference("10_supply_and_derating", "regulation-formulas")
    given_, expected = case["inputs"], case["expected"]
    first, last = read(given_["v_no_load"]), read(given_["v_full_load"])
    found = regulation(first, last, given_["v_nominal"], currents_A=(0.0, given_["i_full"]), shared=PERFECT)
    tolerance = case["tolerance"]["abs"]
    assert expected["pct_of_nominal"] == pytest.approx(100 * found.value, abs=tolerance)
    assert expected["pct_of_full_load"] != pytest.approx(100 * found.value, abs=tolerance)
    assert expected["pct_of_no_load"] != pytest.approx(100 * found.value, abs=tolerance)
    assert found.unit == "%"


def test_output_resistance_of_two_points_is_the_quotient(reference):
    """The same two voltages and 2 A between them are a source resistance of 0.05 ohm."""
    case = reference("10_supply_and_derating", "regulation-formulas")
    given_ = case["inputs"]
    voltages = [read(given_["v_no_load"]), read(given_["v_full_load"])]
    found = output_resistance(voltages, (0.0, given_["i_full"]), shared=PERFECT)
    assert case["expected"]["source_resistance"] == pytest.approx(found.value, abs=case["tolerance"]["abs"])
    assert found.unit == "ohm"


@given(
    open_V=st.floats(-30, 30),
    ohm=st.floats(0, 10),
    currents_A=st.lists(st.integers(0, 3000), min_size=2, max_size=6, unique=True),
)
def test_output_resistance_of_a_straight_rail_is_its_slope(open_V, ohm, currents_A):
    """Whatever the load points, a rail that falls by R for each ampere has the output resistance R."""
    points = tuple(milliamperes / 1000 for milliamperes in currents_A)
    rail = readings(open_V, ohm, points)
    sign = -1 if sum(reading.value for reading in rail) < 0 else 1
    assert output_resistance(rail, points, shared=PERFECT).value == pytest.approx(sign * ohm, rel=1e-6, abs=1e-8)


def test_a_negative_rail_that_sags_counts_positive():
    """-2.40 V that goes to -2.35 V under 10 mA sags, by 2.1 % and with 5 ohm."""
    rail, currents_A = [read(-2.40), read(-2.35)], (0.0, 0.01)
    assert output_resistance(rail, currents_A, shared=PERFECT).value == pytest.approx(5.0)
    assert regulation(*rail, -2.4, currents_A=currents_A, shared=PERFECT).value == pytest.approx(0.05 / 2.4)


def simulated_errors(rng, currents_A, open_V, ohm, spread, known):
    """Voltages (points, draws) as a meter and a load with drawn errors would give them, by the physics alone."""
    draw = rng.normal(0, 1, (3, DRAWS))
    drawing = np.array([[1.0 if current else 0.0] for current in currents_A])
    currents = np.array(currents_A)[:, None] * (1 + known.load_gain * draw[0]) + known.load_offset_A * draw[1] * drawing
    noise = rng.normal(0, spread / 2, (len(currents_A), DRAWS))
    offset = rng.normal(0, 0.5, DRAWS)
    return (open_V - ohm * currents) * (1 + known.meter_gain * draw[2]) + offset + noise


@pytest.mark.parametrize(
    ("known", "spread"),
    [
        pytest.param(Shared(meter_gain=0.02), 0.0, id="meter-gain"),
        pytest.param(Shared(meter_gain=0.0, load_gain=0.015), 0.0, id="load-gain"),
        pytest.param(Shared(meter_gain=0.0, load_offset_A=0.004), 0.0, id="load-offset"),
        pytest.param(PERFECT, 0.004, id="noise"),
        pytest.param(ROUGH, 0.01, id="all"),
    ],
)
@pytest.mark.parametrize(
    "currents_A",
    [
        pytest.param((0.0, 0.5), id="two-points"),
        pytest.param((0.0, 0.1, 0.5), id="three-points"),
        pytest.param((0.1, 0.2, 0.35, 0.5), id="never-without-load"),
    ],
)
def test_uncertainties_agree_with_monte_carlo(currents_A, known, spread):
    """The scatter of 200 000 simulated measurements is the stated standard uncertainty, to three parts in a hundred.

    The meter's offset is drawn as half a volt: it must cancel.
    """
    rng = np.random.default_rng(7)
    measured = simulated_errors(rng, currents_A, 5.0, 0.4, spread, known)
    rail = readings(5.0, 0.4, currents_A, spread=spread)
    slopes = np.polyfit(np.array(currents_A), measured, 1)[0]
    ohm = output_resistance(rail, currents_A, shared=known)
    assert ohm.uncertainty / COVERAGE == pytest.approx(float(np.std(slopes)), rel=0.03, abs=1e-9)
    share = regulation(rail[0], rail[-1], 5.0, currents_A=(currents_A[0], currents_A[-1]), shared=known)
    assert share.uncertainty / COVERAGE == pytest.approx(
        float(np.std(measured[0] - measured[-1]) / 5), rel=0.03, abs=1e-9
    )


def test_the_data_sheet_is_not_counted_once_per_reading():
    """A 2 % fall read by a meter of 0.1 % is known to far better than 0.1 % of 5 V twice."""
    meter = volts(reading="0.1 %", of_range="0.05 %")
    rail, currents_A = [read(5.05), read(4.95)], (0.0, 2.0)
    found = regulation(*rail, 5.0, currents_A=currents_A, shared=shared(meter, None, ambient_C=23, calibrated_at_C=23))
    twice = math.sqrt(2) * COVERAGE * rectangular(half_width(meter, 5.0, 23, 23)) / 5
    assert found.uncertainty == pytest.approx(0.02 * 2 * 0.001 / math.sqrt(3))
    assert found.uncertainty < twice / 50


def test_what_is_shared_comes_from_the_rows_in_use():
    """Gains are ratios of the value and the load's offset is in amperes, each from its half-width over sqrt 3."""
    found = shared(volts(), amperes(), ambient_C=23.0, calibrated_at_C=23.0)
    root = math.sqrt(3)
    assert (found.meter_gain, found.load_gain) == pytest.approx((1e-4 / root, 1e-3 / root))
    assert found.load_offset_A == pytest.approx(3 * 5e-4 / root)


@pytest.mark.parametrize(
    ("rail", "currents_A"),
    [
        pytest.param([read(5.0), read(None)], (0.0, 1.0), id="one-unread"),
        pytest.param([read(5.0), read(4.9)], (0.5, 0.5), id="no-step"),
        pytest.param([read(5.0)], (0.0,), id="one-point"),
    ],
)
def test_without_two_readings_there_is_no_resistance(rail, currents_A):
    """What cannot be computed is no reading, never a zero."""
    found = output_resistance(rail, currents_A, shared=ROUGH)
    assert (found.value, found.uncertainty) == (None, None)


def test_what_did_not_settle_stays_so():
    """A value derived from one that was still on its way is not settled either."""
    assert not output_resistance([read(5.0), read(4.9, settled=False)], (0.0, 1.0), shared=PERFECT).settled


def test_a_reading_without_spread_counts_with_all_it_has():
    """Where the scatter is not known the reading's own uncertainty stands in; without that, none is given."""
    known, unknown = read(4.9, spread=None, uncertainty=0.01), read(4.9, spread=None)
    found = regulation(read(5.0), known, 5.0, currents_A=(0, 1), shared=PERFECT)
    assert found.uncertainty == pytest.approx(0.01 / 5)
    assert math.isnan(regulation(read(5.0), unknown, 5.0, currents_A=(0, 1), shared=PERFECT).uncertainty)
