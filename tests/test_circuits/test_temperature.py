"""Junctions at other temperatures than 27 C: closed forms, batches, and what must stay as it is."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.circuits import System, draw_values, nominal_values
from batchtest.circuits.currents import terminal_currents
from batchtest.circuits.equations import SHUNT_S
from batchtest.circuits.junctions import thermal_voltage
from batchtest.errors import SetupError

from .demo import LOAD_POINTS, bench_model, joined, small

SILICON = "D1 a n0 M\n.model M D(IS={saturation!r} N={emission!r})"


def drop_V(cards: str, temperature_C: float, node: str = "a") -> float:
    """Voltage of a node of a small circuit at a temperature."""
    assembly = small(cards)
    solution = System(assembly).solve(nominal_values(assembly), {}, temperature_C=temperature_C)
    return float(solution.voltage(f"host.{node}")[0])


@given(
    saturation=st.floats(1e-16, 1e-11),
    emission=st.floats(1.0, 2.0),
    amperes=st.floats(1e-4, 1e-1),
    temperature_C=st.floats(-40, 60),
)
def test_a_diode_at_constant_current_follows_the_closed_form(saturation, emission, amperes, temperature_C):
    """With EG = 1.11 and XTI = 3 the drop is V27 T/T27 - EG (T/T27 - 1) - 3 kT/q ln(T/T27), whatever N is."""
    cards = f"I1 n0 a {amperes!r}\n{SILICON.format(saturation=saturation, emission=emission)}"
    ratio = (temperature_C + 273.15) / 300.15
    thermal_V = float(thermal_voltage(np.array(temperature_C)))
    expected_V = drop_V(cards, 27.0) * ratio - 1.11 * (ratio - 1) - 3 * thermal_V * np.log(ratio)
    assert drop_V(cards, temperature_C) == pytest.approx(expected_V, abs=2e-6)


def test_a_silicon_diode_loses_about_two_millivolts_per_kelvin():
    """At 1 mA a silicon diode drops about 0.7 V, and 2 mV less for every kelvin (common practice, no source)."""
    cards = f"I1 n0 a 1m\n{SILICON.format(saturation=2.5e-9, emission=1.8)}"
    cold_V, warm_V = drop_V(cards, 18.0), drop_V(cards, 28.0)
    assert warm_V == pytest.approx(0.6, abs=0.1)
    assert (warm_V - cold_V) / 10 == pytest.approx(-2e-3, abs=0.5e-3)


@pytest.mark.parametrize("temperature_C", [-40.0, 18.0, 85.0])
@pytest.mark.parametrize(
    ("cards", "expected_V"),
    [
        pytest.param("V1 b n0 10\nR1 b a 1k\nR2 a n0 3k", 7.5, id="resistors"),
        pytest.param("I1 n0 a 5m\nD1 n0 a M\n.model M D(IS=1e-14 N=1.1 BV=12.8 IBV=5m)", 12.8, id="breakdown"),
    ],
)
def test_resistors_and_breakdown_stay(cards, expected_V, temperature_C):
    """Resistors have no coefficient, and at BV the current is IBV at any temperature."""
    assert drop_V(cards, temperature_C) == pytest.approx(expected_V, abs=1e-6)


@pytest.mark.parametrize("kind", ["NPN", "PNP"])
@pytest.mark.parametrize("temperature_C", [-40.0, 18.0, 85.0])
def test_current_gain_stays_and_the_base_moves(kind, temperature_C):
    """A transistor's gain has no exponent of temperature; its base follows its saturation current, whatever NF is."""
    sign = 1 if kind == "NPN" else -1
    cards = (
        f"V1 c n0 {3 * sign}\nI1 n0 b {sign * 1e-5!r}\nV2 d c 0\nQ1 d b n0 M\n.model M {kind}(IS=1e-14 BF=150 NF=1.2)"
    )
    assembly = small(cards)
    values = nominal_values(assembly)
    solution = System(assembly).solve(values, {}, temperature_C=temperature_C)
    collector, base, _ = terminal_currents(solution, values)["host.Q1"]
    assert float(collector[0] / base[0]) == pytest.approx(150, rel=1e-4)
    ratio = (temperature_C + 273.15) / 300.15
    thermal_V = float(thermal_voltage(np.array(temperature_C)))
    saturation_A = 1e-14 * ratio**3 * np.exp(1.11 * (ratio - 1) / thermal_V)
    expected_V = sign * 1.2 * thermal_V * np.log(1.5e-3 / saturation_A)
    assert float(solution.voltage("host.b")[0]) == pytest.approx(expected_V, abs=2e-5)


def test_each_sample_has_its_own_temperature():
    """A batch over several temperatures gives each sample what it has alone; 27 C is what is taken otherwise."""
    model = bench_model()
    each_C = np.array([27.0, 18.0, 28.0, 27.0])
    values = np.repeat(nominal_values(model.assembly), len(each_C), axis=0)
    together = model.powered(values, 24.0, 1.0, LOAD_POINTS[1], temperature_C=each_C)
    for row, one_C in enumerate(each_C):
        alone = model.powered(values[:1], 24.0, 1.0, LOAD_POINTS[1], temperature_C=float(one_C))
        assert together.volts[row] == pytest.approx(alone.volts[0], abs=1e-7)
        assert alone.temperature_C == [one_C]
    plain = model.powered(values[:1], 24.0, 1.0, LOAD_POINTS[1])
    assert (plain.volts == model.powered(values[:1], 24.0, 1.0, LOAD_POINTS[1], temperature_C=27.0).volts).all()
    assert np.abs(together.volts[1] - together.volts[2]).max() > 10e-3


@pytest.mark.parametrize("temperature_C", [18.0, np.array([-20.0, 85.0])], ids=["one", "each"])
def test_currents_add_up_at_every_temperature(temperature_C):
    """Currents of parts belong to the temperature that was solved: at every node they add up to nothing."""
    assembly = joined("cabinet", "mist-lead", "vent")
    values = draw_values(assembly, ["VN-0001", "VN-0002"])
    solution = System(assembly).solve(values, {}, temperature_C=temperature_C)
    left = {node: np.zeros(2) for node in assembly.nodes}
    currents = terminal_currents(solution, values)
    for element in assembly.elements:
        for node, current in zip(element.nodes, currents[element.name], strict=False):
            left[node] = left[node] + current
    left.pop(assembly.ground)
    assert max(np.abs(current).max() for current in left.values()) < 10 * SHUNT_S * np.abs(solution.volts).max()


@pytest.mark.parametrize(
    ("temperature_C", "message"),
    [
        pytest.param(np.full(3, 20.0), r"has the shape \(3,\); it needs one number or \(2,\)", id="shape"),
        pytest.param(300.15, r"temperature_C is 300\.15; write degrees Celsius, -100 to 250", id="kelvin"),
        pytest.param(np.array([20.0, -273.15]), r"temperature_C is -273\.15; write", id="no-warmth-at-all"),
        pytest.param(float("nan"), r"temperature_C is nan; write", id="not-a-number"),
    ],
)
def test_what_can_be_no_temperature_is_refused(temperature_C, message):
    """A temperature in another unit or for another number of samples is told, not computed with."""
    assembly = small("R1 a n0 1k")
    with pytest.raises(SetupError, match=message):
        System(assembly).solve(np.full((2, 1), 1e3), {}, temperature_C=temperature_C)
