"""Short pulses warm after all: what a sweep says once their heat is taken out."""

from __future__ import annotations

import math

import numpy as np
import pytest

from batchtest.capacity.fits import source
from batchtest.capacity.model import Point
from batchtest.capacity.pulses import without_heat
from test_capacity.outlets import CURRENTS_A, PERFECT, read, straight_source, sweep

PULSE_S, PAUSE_S, READ_S = 0.11, 3.0, 0.07


def warmed_sweep(rise_ohm, cools_s, *, ohm=3.0, open_V=12.0):
    """A part that gains `rise_ohm` for each A^2 s and loses it again, pulsed up and down; by small steps of time."""
    warmth, points, now = 0.0, [], 0.0
    for rising, currents in ((True, CURRENTS_A), (False, CURRENTS_A[::-1])):
        for current in currents:
            at_read = warmth + current**2 * READ_S
            points.append(
                Point(
                    current_A=current,
                    voltage=read(open_V - (ohm + rise_ohm * at_read) * current),
                    rising=rising,
                    at_s=now + READ_S,
                    on_s=READ_S,
                    pulse_s=PULSE_S,
                )
            )
            warmth = (warmth + current**2 * PULSE_S) * math.exp(-(PULSE_S + PAUSE_S) / cools_s)
            now += PULSE_S + PAUSE_S
    return points


@pytest.mark.parametrize("cools_s", [15.0, 25.0, 40.0])
def test_the_cold_resistance_is_found_under_the_heat_of_the_pulses(cools_s):
    """A fuse that gains 10 mohm in the sweep: nine tenths of that are taken out, whichever way it cools."""
    points = warmed_sweep(0.7, cools_s)
    bare = [Point(current_A=p.current_A, voltage=p.voltage, rising=p.rising) for p in points]
    warm, cold = source(bare, PERFECT).ohm, source(points, PERFECT).ohm
    assert warm.value - 3.0 > 0.004
    assert abs(cold.value - 3.0) < 0.25 * (warm.value - 3.0)
    assert cold.lower <= 3.0 <= cold.upper


def test_a_part_that_cools_as_assumed_is_found_exactly():
    """With the time constant that is assumed nothing is left over but rounding."""
    assert source(warmed_sweep(0.7, 25.0), PERFECT).ohm.value == pytest.approx(3.0, abs=2e-5)


def test_the_doubt_of_the_correction_is_a_bound_of_its_own():
    """With perfect instruments a quarter of what was taken out is all that is not known."""
    points = warmed_sweep(0.7, 25.0)
    warm = source([Point(current_A=p.current_A, voltage=p.voltage) for p in points], PERFECT).ohm
    cold = source(points, PERFECT).ohm
    assert (cold.upper - cold.lower) / 2 == pytest.approx(0.95 * 0.25 * (warm.value - cold.value), rel=0.02)


@pytest.mark.parametrize(
    "points",
    [
        pytest.param(sweep(straight_source()), id="times-not-known"),
        pytest.param([point for point in warmed_sweep(0.7, 25.0) if point.rising], id="only-up"),
        pytest.param([], id="nothing"),
    ],
)
def test_without_times_or_without_the_way_down_nothing_is_changed(points):
    """Where the heat cannot be told the voltages stay as they were read."""
    assert np.array_equal(without_heat(points), np.eye(len(points)))
