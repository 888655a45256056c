"""What keeps the simulated instruments from the truth stays inside their tables."""

from __future__ import annotations

import math

import pytest

from batchtest.judging.accuracy import Row
from batchtest.simulated.imperfections import Hum, draw_error, noise_rms, row_for_value
from test_simulated.desk import Desk, changed, demo

METER = demo().bench.meter.accuracy
ROWS: list[Row] = [METER.volts_dc[2], METER.ohms[1], demo().bench.supply.accuracy.current[0]]


@pytest.mark.parametrize("row", ROWS, ids=["volts", "ohms", "amperes"])
def test_errors_of_200_benches_stay_inside_the_table(row: Row):
    """Gain within `reading`, offset within `of_range` of the range, and both parts are really used."""
    errors = [draw_error(row, seed, "meter", "volts") for seed in range(200)]
    gains = [error.gain / float(row.reading) for error in errors]
    offsets = [error.offset / float(row.of_range * row.range) for error in errors]
    for shares in (gains, offsets):
        assert max(map(abs, shares)) <= 1
        assert min(shares) < -0.9 < 0.9 < max(shares)
        assert abs(sum(shares)) / 200 < 3 / math.sqrt(3 * 200)


def test_readings_of_many_benches_stay_inside_the_table():
    """Through the whole meter: 5 V read by 40 benches is within half-width and five sigmas of noise."""
    row = METER.volts_dc[2]
    half = 5 * float(row.reading) + float(row.of_range * row.range) + 5 * float(row.noise) + 5e-6
    readings = [Desk(changed(seed=seed)).volts(140, 10)[0] for seed in range(40)]
    assert max(abs(volts - 5) for volts in readings) <= half
    assert len(set(readings)) > 15


def test_an_error_is_the_same_whenever_it_is_drawn_and_another_in_another_range():
    """One instrument's errors do not change from reading to reading."""
    one, other = METER.volts_dc[2:4]
    assert draw_error(one, 1, "meter", "volts") == draw_error(one, 1, "meter", "volts")
    assert draw_error(one, 1, "meter", "volts").gain != draw_error(other, 1, "meter", "volts").gain


def test_noise_falls_with_the_root_of_the_integration_time():
    """A hundred times the integration, a tenth of the noise."""
    row = METER.volts_dc[2]
    assert noise_rms(row, 0.1) == pytest.approx(10 * noise_rms(row, 10))


def test_a_value_beyond_all_ranges_has_the_largest():
    """The smallest range that holds it, or the last."""
    assert float(row_for_value(METER.volts_dc, -7).range) == 10
    assert float(row_for_value(METER.volts_dc, 5000).range) == 1000


def test_whole_line_cycles_cancel_hum():
    """Of 1 V, less than a thousandth is left after one cycle, most of it after a tenth of one."""
    hum = Hum(1.0, 50.02, 0.3)
    starts = [number * 0.0137 for number in range(200)]
    assert max(abs(hum.mean(start, start + 0.02)) for start in starts) < 1e-3
    assert max(abs(hum.mean(start, start + 0.002)) for start in starts) > 0.9


@pytest.mark.parametrize(("nplc", "least", "most"), [(1, 0, 60e-6), (10, 0, 60e-6), (0.1, 1e-3, 20e-3)])
def test_the_meter_sees_hum_below_one_cycle_only(nplc: float, least: float, most: float):
    """Spread of 50 raw values of the reference with 5 mV of hum."""
    desk = Desk(changed(hum="0.005"))
    values = desk.volts(140, 10, nplc, 50)
    assert least <= max(values) - min(values) <= most


def test_hum_has_a_mean_of_none_over_no_time():
    """No window, no hum."""
    assert Hum(1.0, 50.0, 0.0).mean(1.0, 1.0) == 0.0
