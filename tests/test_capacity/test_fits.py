"""The source resistance of a sweep: its value, its interval, and what is told from noise."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from test_judging.tables import amperes, volts

from batchtest.capacity.fits import Errors, errors, low_and_high, source
from batchtest.capacity.model import Point
from test_capacity.outlets import CURRENTS_A, PERFECT, USUAL, follower, read, straight_source, sweep

DRAWS = 300
NOISE_V = 1e-4


def measured(rng, source_V, known, *, load_noise_A=0.0, drift_V=0.0):
    """A sweep as a meter and a load with drawn errors would give it, by the physics alone."""
    gain, offset, load_gain, load_offset = rng.uniform(-1, 1, 4) * (
        known.meter_gain,
        known.meter_offset_V,
        known.load_gain,
        known.load_offset_A,
    )
    points = []
    for rising, currents in ((True, CURRENTS_A), (False, CURRENTS_A[::-1])):
        for current in currents:
            true_A = current * (1 + load_gain) + load_offset + load_noise_A * rng.normal()
            true_V = source_V(true_A) + (0.0 if rising else drift_V)
            seen_V = true_V * (1 + gain) + offset + NOISE_V / math.sqrt(3) * rng.normal()
            points.append(Point(current_A=current, voltage=read(float(seen_V), spread=NOISE_V), rising=rising))
    return points


def true_ohm(source_V):
    """Minus the slope of the least-squares line through the true voltages at the set currents."""
    return -float(np.polyfit(CURRENTS_A, [source_V(current) for current in CURRENTS_A], 1)[0])


def test_the_source_resistance_of_two_points(reference):
    """IEC 61204 vocabulary: 5.05 V without load and 4.95 V at 2 A are 0.05 ohm; here the line meets both."""
    case = reference("10_supply_and_derating", "regulation-formulas")
    given_ = case["inputs"]
    ohm = (given_["v_no_load"] - given_["v_full_load"]) / given_["i_full"]
    found = source(sweep(straight_source(given_["v_no_load"], ohm), (0.5, given_["i_full"])), PERFECT)
    assert case["expected"]["source_resistance"] == pytest.approx(found.ohm.value, abs=case["tolerance"]["abs"])
    assert found.open_V.value == pytest.approx(given_["v_no_load"])


def test_twenty_ohm_drop_two_volts_at_a_tenth_of_an_ampere():
    """Common practice, no source: 20 ohm in series drop 2 V at 0.1 A."""
    found = source(sweep(straight_source(12.0, 20.0)), PERFECT)
    assert found.ohm.value * 0.1 == pytest.approx(2.0)


@given(
    ohm=st.floats(0.05, 50),
    open_V=st.floats(5, 30),
    milliamperes=st.lists(st.integers(1, 2000), min_size=2, max_size=8, unique=True),
)
def test_a_straight_source_gives_its_resistance(ohm, open_V, milliamperes):
    """Whatever the currents, the line through a straight source is that source."""
    found = source(sweep(straight_source(open_V, ohm), [each / 1000 for each in sorted(milliamperes)]), PERFECT)
    assert found.ohm.value == pytest.approx(ohm, rel=1e-6)
    assert found.open_V.value == pytest.approx(open_V, rel=1e-6)


@pytest.fixture(scope="module")
def curved():
    """An emitter follower as 300 drawn benches find it."""
    rng, source_V = np.random.default_rng(5), follower()
    return [source(measured(rng, source_V, USUAL), USUAL) for _ in range(DRAWS)]


@pytest.fixture(scope="module")
def plain():
    """A straight source as 300 benches with a perfect load and a rough meter find it."""
    known = replace(USUAL, meter_gain=0.001, load_gain=0.0, load_offset_A=0.0)
    rng, source_V = np.random.default_rng(6), straight_source()
    return [source(measured(rng, source_V, known), known) for _ in range(DRAWS)]


@pytest.mark.parametrize(
    ("benches", "source_V"), [("curved", follower()), ("plain", straight_source())], ids=["curved", "plain"]
)
def test_the_interval_holds_the_truth_in_95_of_100(request, benches, source_V):
    """Of 300 drawn benches 92 to 98 % have the truth inside: not all of them, as k = 2 would have.

    Three hundred draws scatter by 1.3 %; what is wanted is 95 %.
    """
    true, found = true_ohm(source_V), [fit.ohm for fit in request.getfixturevalue(benches)]
    assert 0.92 <= sum(band.lower <= true <= band.upper for band in found) / DRAWS <= 0.98


def test_the_interval_is_as_narrow_as_the_errors_allow(curved):
    """The stated half-width is within 3 % of the one that holds 95 % of 20 000 errors of the slope, drawn at once."""
    rng, at = np.random.default_rng(9), np.array(CURRENTS_A * 2)[:, None]
    gain, load_gain, load_offset = rng.uniform(-1, 1, (3, 20_000))
    true_A = at * (1 + load_gain * USUAL.load_gain) + load_offset * USUAL.load_offset_A
    true_V = 12.3 - 15.0 * true_A - 0.026 * np.log1p(true_A / 0.0026)
    noise_V = NOISE_V / math.sqrt(3) * rng.normal(size=true_V.shape)
    slopes = np.polyfit(at[:, 0], true_V * (1 + gain * USUAL.meter_gain) + noise_V, 1)[0]
    made = np.quantile(np.abs(-slopes - true_ohm(follower())), 0.95)
    stated = np.median([(fit.ohm.upper - fit.ohm.lower) / 2 for fit in curved])
    assert stated == pytest.approx(made, rel=0.03)


def test_the_open_circuit_point_stays_out_of_the_line():
    """At open circuit the load draws nothing, its offset included: that point would turn the offset into ohms."""
    points = sweep(straight_source())
    with_open = [Point(current_A=0.0, voltage=read(99.0)), *points]
    assert source(with_open, USUAL) == source(points, USUAL)


def test_points_that_were_not_held_stay_out_of_the_line():
    """A point in the load's saturation, and one without a reading, change nothing."""
    points = sweep(straight_source())
    bad = [
        Point(current_A=0.3, voltage=read(0.6, regulated=False), drawn_A=0.21),
        Point(current_A=0.31, voltage=read(None)),
    ]
    assert source([*points, *bad], USUAL) == source(points, USUAL)


@pytest.mark.parametrize("currents_A", [(), (0.1,)], ids=["none", "one"])
def test_one_current_gives_no_resistance(currents_A):
    """What cannot be computed is nothing, never a zero."""
    assert source(sweep(straight_source(), currents_A), PERFECT) is None


def test_a_curved_source_is_told_from_noise():
    """An emitter follower sags below the chord: the curvature is negative and real."""
    points = measured(np.random.default_rng(1), follower(), USUAL)
    curvature = source(points, USUAL).curvature_V
    assert curvature.value < 0
    assert curvature.real


def test_a_parabola_has_the_curvature_that_it_has():
    """A source that falls with the square of the current bulges by a quarter of that over its span."""
    bulge = source(sweep(lambda current: 12 - 4 * current**2), PERFECT).curvature_V
    assert bulge.value == pytest.approx(4 * ((CURRENTS_A[-1] - CURRENTS_A[0]) / 2) ** 2)


@pytest.mark.parametrize("wanted", ["curvature_V", "up_down_V"])
def test_noise_is_rarely_taken_for_a_difference(plain, wanted):
    """Of 300 sweeps of a straight, steady source fewer than 9 % show a curvature, or a way down that is not that up."""
    assert sum(getattr(fit, wanted).real for fit in plain) / DRAWS < 0.09


def test_a_source_that_warms_differs_between_up_and_down():
    """Half a millivolt less on the way down is seen under a tenth of a millivolt of noise, with its sign."""
    points = measured(np.random.default_rng(2), straight_source(), USUAL, drift_V=-5e-4)
    found = source(points, USUAL).up_down_V
    assert found.value == pytest.approx(-5e-4, abs=1e-4)
    assert found.real


def test_a_sweep_only_up_says_nothing_of_the_way_down():
    """No pair, no difference; two currents, no curvature."""
    found = source(sweep(straight_source(), (0.1, 0.2), both_ways=False), PERFECT)
    assert (found.up_down_V, found.curvature_V) == (None, None)
    assert found.residual_V == 0.0


def test_what_the_load_scatters_is_seen_in_the_pairs():
    """A load whose noise is ten times that of the meter widens the interval, though no spread of the meter says so."""
    known = replace(USUAL, load_gain=0.0, load_offset_A=0.0)
    quiet = source(measured(np.random.default_rng(3), straight_source(), known), known).ohm
    noisy = source(measured(np.random.default_rng(3), straight_source(), known, load_noise_A=5e-5), known).ohm
    assert noisy.upper - noisy.lower > 2 * (quiet.upper - quiet.lower)


def test_the_offset_of_the_load_counts_where_the_source_is_curved():
    """On a straight source it moves every voltage alike and cancels; a diode law is steeper at the low currents."""
    known = replace(PERFECT, load_offset_A=0.002)
    straight, curved = (source(sweep(source_V), known).ohm for source_V in (straight_source(), follower()))
    assert straight.upper - straight.lower == pytest.approx(0.0, abs=1e-9)
    at = np.array(CURRENTS_A)
    weights = (at - at.mean()) / np.square(at - at.mean()).sum()
    true = 0.002 * float(weights @ (0.026 / (at + 0.0026)))
    assert (curved.upper - curved.lower) / 2 == pytest.approx(0.95 * abs(true), rel=0.02)


def test_the_scatter_of_a_point_is_that_of_its_pair_over_root_two():
    """Pairs that differ by plus or minus 1 mV, and by nothing on the mean: 0.77 mV a point, and so the interval."""
    rest = [
        replace(p, voltage=read(p.voltage.value + (0.0 if p.rising else 1e-3 * (-1) ** CURRENTS_A.index(p.current_A))))
        for p in sweep(straight_source())
    ]
    noise_V = math.sqrt(6 / 5) * 1e-3 / math.sqrt(2)
    square = 2 * float(np.square(np.array(CURRENTS_A) - np.mean(CURRENTS_A)).sum())
    found = source(rest, PERFECT).ohm
    assert (found.upper - found.lower) / 2 == pytest.approx(1.96 * noise_V / math.sqrt(square), rel=2e-3)


def test_low_and_high_currents_are_told_apart():
    """An emitter follower has more resistance at low currents than at high; both halves share the middle."""
    low, high = low_and_high(sweep(follower()), USUAL)
    assert low.ohm.lower > high.ohm.upper
    assert max(low.currents_A) == min(high.currents_A)
    assert low_and_high(sweep(follower(), (0.1, 0.2)), USUAL) is None


def test_bounds_come_from_the_rows_in_use():
    """Gains are ratios, offsets in volts and amperes: half-widths as the data sheet states them, not standard ones."""
    found = errors(volts(), amperes(), ambient_C=23.0, meter_at_C=23.0, load_at_C=23.0)
    assert (found.meter_gain, found.load_gain) == pytest.approx((1e-4, 1e-3))
    assert found.load_offset_A == pytest.approx(3 * 5e-4)
    assert isinstance(found, Errors)


def test_a_reading_without_its_own_scatter_counts_with_all_it_has():
    """Where no spread is known the whole uncertainty stands in; where there is neither, it is refused."""
    points = [Point(current_A=i, voltage=read(12 - 15 * i, spread=None, uncertainty=0.002)) for i in CURRENTS_A]
    known = source(points, PERFECT).ohm
    spread = source([replace(p, voltage=read(p.voltage.value, spread=0.001, count=1)) for p in points], PERFECT).ohm
    assert known == spread
    bare = [replace(p, voltage=read(p.voltage.value, spread=None)) for p in points]
    with pytest.raises(ValueError, match="neither spread nor uncertainty"):
        source(bare, PERFECT)
