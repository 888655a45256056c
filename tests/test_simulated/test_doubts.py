"""The doubt about readings: the meter's uncertainty, and what the load draws amiss."""

from __future__ import annotations

import math

import pytest
from stations import derive_once

from batchtest.judging.accuracy import pick_range, row_for
from batchtest.judging.uncertainty import of_reading
from batchtest.nouns import Measurement
from batchtest.simulated.doubts import Doubt, Doubts
from batchtest.simulated.true_values import TrueValues, true_values
from test_simulated.desk import changed

SETUP = changed()
PROCEDURE = derive_once(SETUP)
BOARD: TrueValues = true_values(SETUP, PROCEDURE, ["VN-0001"])[0]
BY_NAME: dict[str, Measurement] = {
    one.name: one for action in (*PROCEDURE.gate, *PROCEDURE.powered) for one in action.measurements
}


def about(name: str, doubts: Doubts | None = None) -> Doubt:
    """The doubt about one measurement of a good board."""
    return (doubts or Doubts(SETUP, PROCEDURE)).about(BY_NAME[name], BOARD.values)


def known(name: str) -> float:
    """The true value of one measurement."""
    value = BOARD.values[name]
    assert value is not None
    return value


def test_a_rail_is_as_doubtful_as_the_meters_table_says():
    """Three values of one line cycle, at the calibration temperature."""
    measurement = BY_NAME["logic @ load point 1"]
    row = row_for(SETUP.bench.meter.accuracy.volts_dc, measurement.range)
    expected = of_reading(
        row, known(measurement.name), spread=float(row.noise), count=3, nplc=1, ambient_C=23, calibrated_at_C=23
    )
    assert about(measurement.name) == Doubt(pytest.approx(expected), 0.0)


def test_the_supplys_current_is_read_once_by_the_supply_itself():
    """Its own row, one reading."""
    name = "supply current @ 24.0 V in"
    row = row_for(SETUP.bench.supply.accuracy.current, BY_NAME[name].range)
    expected = of_reading(row, known(name), spread=float(row.noise), count=1, nplc=1, ambient_C=23, calibrated_at_C=23)
    assert about(name).reading == pytest.approx(expected)


@pytest.mark.parametrize("rail", ["analog", "bias"])
def test_the_load_moves_every_rail_by_its_share(rail: str):
    """The worst channel's half-width over its way from none to full, times the rail's own way; 2/sqrt 3 of it."""
    row = SETUP.bench.load.accuracy.current[0]
    core_A = float(SETUP.limits.rails["core"].at[-1].load or 0)
    half_A = core_A * float(row.reading) + float(row.of_range * row.range)
    moved_V = abs(known(f"{rail} @ load point 3") - known(f"{rail} @ load point 1"))
    assert about(f"{rail} @ load point 3").load == pytest.approx(2 / math.sqrt(3) * half_A / core_A * moved_V)
    assert about(f"{rail} @ load point 1").load == 0.0


def test_hum_below_one_line_cycle_is_doubt():
    """5 mV of hum in a tenth of a cycle is 2 x 5 mV / sqrt 2 of it, hardly less; in whole cycles it is none."""
    setup = changed(hum="0.005")
    meter = setup.bench.meter.model_copy(update={"integration": 0.1})
    object.__setattr__(setup, "bench", setup.bench.model_copy(update={"meter": meter}))
    assert about("logic @ load point 1", Doubts(setup, PROCEDURE)).reading == pytest.approx(7e-3, rel=0.05)
    whole = Doubts(changed(hum="0.005"), PROCEDURE)
    assert about("logic @ load point 1", whole).reading == pytest.approx(about("logic @ load point 1").reading)


def test_a_cold_resistance_has_the_ohms_table():
    """Half-width over sqrt 3, times two, and next to no noise."""
    name = "logic-short"
    row = row_for(SETUP.bench.meter.accuracy.ohms, BY_NAME[name].range)
    half = known(name) * float(row.reading) + float(row.of_range * row.range)
    assert about(name).reading == pytest.approx(2 * half / math.sqrt(3), rel=0.1)


def test_output_resistance_has_the_loads_gain_in_it():
    """At least the load's and the meter's share of the value."""
    name = "logic output resistance"
    gain = float(
        row_for(SETUP.bench.load.accuracy.current, pick_range(SETUP.bench.load.accuracy.current, 0.04)).reading
    )
    assert about(name).reading > 2 / math.sqrt(3) * gain * known(name)
    assert about(name).reading < 0.1 * known(name)


def test_what_is_over_range_has_no_doubt():
    """There is no value to doubt."""
    measurement = BY_NAME["logic-short"]
    assert Doubts(SETUP, PROCEDURE).about(measurement, {**BOARD.values, measurement.name: None}) == Doubt()
