"""The laws of junctions: slopes belong to their currents, pieces meet, and breakdown begins where the model says."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.circuits import Drive, LimitedSource, System, nominal_values
from batchtest.circuits.junctions import (
    THERMAL_VOLTAGE_V,
    breakdown_voltage,
    critical_voltage,
    junction,
    limited,
)

from .demo import small

SATURATION_A = 1e-12


def law(volts: float) -> tuple[float, float]:
    """Current and slope of one junction."""
    current, slope = junction(np.array([volts]), np.array([THERMAL_VOLTAGE_V]), np.array([SATURATION_A]))
    return float(current[0]), float(slope[0])


@given(st.floats(-20, 0.9))
def test_a_slope_is_the_change_of_its_current(volts):
    """The conductance is the derivative of the current."""
    step = 1e-6
    below, above = law(volts - step)[0], law(volts + step)[0]
    assert law(volts)[1] == pytest.approx((above - below) / (2 * step), rel=1e-3, abs=1e-16)


@pytest.mark.parametrize("volts", [-3 * THERMAL_VOLTAGE_V])
def test_the_pieces_of_the_law_meet(volts):
    """Where the exponential hands over to the cubic neither current nor slope jumps."""
    one, other = law(volts - 1e-12), law(volts + 1e-12)
    assert one == pytest.approx(other, rel=1e-6)


@pytest.mark.parametrize(("bv", "ibv"), [(12.8, 5e-3), (2.7, 2e-3), (33.0, 5e-3)])
def test_breakdown_carries_ibv_at_bv(bv, ibv):
    """At BV the current is IBV, as the model card says."""
    assembly = small(f"D1 n0 a M\n.model M D(IS=1e-14 N=1.1 BV={bv} IBV={ibv})")
    system = System(assembly, [LimitedSource("out", "host.a", "host.n0")])
    solution = system.solve(nominal_values(assembly), {"out": Drive(100.0, 1.0, 0.0, ibv)})
    assert float(solution.voltage("host.a")[0]) == pytest.approx(bv, abs=1e-6)


def test_breakdown_begins_at_bv_where_ibv_says_too_little():
    """A current at BV that the law exceeds anyway is not used."""
    thermal_V = np.array([THERMAL_VOLTAGE_V])
    start = breakdown_voltage(np.array([400.0]), np.array([5e-6]), np.array([2.5e-9]), 1.8 * thermal_V, thermal_V)
    assert float(start[0]) == 400.0


def test_a_diode_without_bv_does_not_break_down():
    """No breakdown voltage, no breakdown."""
    thermal_V = np.array([THERMAL_VOLTAGE_V])
    start = breakdown_voltage(np.array([math.inf]), np.array([1e-3]), np.array([1e-14]), thermal_V, thermal_V)
    assert math.isinf(float(start[0]))


@pytest.mark.parametrize(
    ("new", "old", "expected"),
    [
        pytest.param(0.3, 0.0, 0.3, id="below-the-bend"),
        pytest.param(-5.0, 0.7, -5.0, id="backwards"),
        pytest.param(5.0, 0.7, 0.7 + THERMAL_VOLTAGE_V * math.log(1 + 4.3 / THERMAL_VOLTAGE_V), id="forward-from-on"),
        pytest.param(5.0, -1.0, THERMAL_VOLTAGE_V * math.log(5.0 / THERMAL_VOLTAGE_V), id="forward-from-off"),
        pytest.param(1.0, 40.0, None, id="down-from-far-too-much"),
    ],
)
def test_large_forward_steps_are_held_back(new, old, expected):
    """A step into the steep part is damped; all others are left."""
    emission, saturation = np.array([THERMAL_VOLTAGE_V]), np.array([SATURATION_A])
    critical = critical_voltage(emission, saturation)
    held = float(limited(np.array([new]), np.array([old]), emission, critical)[0])
    assert held == pytest.approx(float(critical[0]) if expected is None else expected)
