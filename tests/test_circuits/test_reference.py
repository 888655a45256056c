"""Semiconductor circuits with published or independently computed answers.

Source: tests/reference/08_dc_circuits.toml, which names for each case where its values come from; tolerances are its
own.
"""

from __future__ import annotations

import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from batchtest.circuits import Solution, System, nominal_values
from batchtest.circuits.elements import DEFAULTS
from batchtest.circuits.junctions import (
    GMIN_S,
    REFERENCE_C,
    THERMAL_VOLTAGE_V,
    ZERO_C_K,
    thermal_voltage,
)

from .demo import small

REFERENCE = Path(__file__).parents[1] / "reference" / "08_dc_circuits.toml"
CASES = {case["id"]: case for case in tomllib.loads(REFERENCE.read_text())["case"]}

#: The netlists of the file in cards: node 0 is n0 there, 1 is a, 2 is b, and so on.
CARDS = {
    "op-diode": "V1 a n0 5\nR1 a b 1k\nD1 b n0 M\n.model M D(IS=1e-14 N=1)",
    "op-two-diodes": "V1 a n0 12\nD1 a b M\nD2 b c M\nR1 c n0 1k\n.model M D(IS=2.52e-9 N=1.752)",
    "op-follower-a": (
        "V1 a n0 20\nR1 a b 220\nDZ n0 b Z\nQ1 a b c M\nRL c n0 1k\n"
        ".model Z D(IS=1e-14 BV=12 IBV=20m)\n.model M NPN(IS=1e-14 BF=50 BR=1)"
    ),
    "op-divider-bias": (
        "V1 a n0 9\nR1 a b 47k\nR2 b n0 10k\nRC a c 4.7k\nRE d n0 1k\nQ1 c b d M\n.model M NPN(IS=1e-14 BF=150 BR=1)"
    ),
    "op-bridge": "V1 a n0 10\nR1 a b 1k\nR2 a c 2k\nR3 b c 1.5k\nR4 b n0 3.3k\nR5 c n0 4.7k",
    "op-led": "V1 a n0 3.3\nR1 a b 330\nD1 b n0 M\n.model M D(IS=1e-18 N=2 RS=5)",
}


def solved(cards: str) -> Solution:
    """Operating point of a few cards with nominal parts."""
    assembly = small(cards)
    return System(assembly).solve(nominal_values(assembly), {})


def volts(solution: Solution, node: str) -> float:
    """Voltage of a node of a small circuit."""
    return float(solution.voltage(f"host.{node}")[0])


def test_thermal_voltage():
    """kT/q of the code is that of the SI's exact constants, at every temperature."""
    case = CASES["thermal-voltage"]
    found = thermal_voltage(np.array(case["inputs"]["T"]) - ZERO_C_K)
    assert found == pytest.approx(case["expected"]["Vt"], abs=case["tolerance"]["abs"])
    assert pytest.approx(case["expected"]["Vt"][-1], abs=case["tolerance"]["abs"]) == THERMAL_VOLTAGE_V


def test_defaults_are_those_of_common_simulators():
    """What a `.model` does not say is taken as general circuit simulators take it."""
    expected = CASES["spice-defaults"]["expected"]
    assert expected["temp_C"] == REFERENCE_C
    assert expected["gmin"] == GMIN_S
    assert {key: DEFAULTS["D"][key] for key in expected["diode"]} == expected["diode"]
    assert {key: DEFAULTS["NPN"][key] for key in expected["bjt"]} == expected["bjt"]


@pytest.mark.parametrize("name", list(CARDS))
def test_operating_points_of_the_reference(name):
    """Node voltages are those of the reference simulator and of an independent solver."""
    solution, case = solved(CARDS[name]), CASES[name]
    expected = {key: value for key, value in case["expected"].items() if key.startswith("v")}
    for key, value in expected.items():
        node = "abcdef"[int(key[1]) - 1]
        assert volts(solution, node) == pytest.approx(value, abs=case["tolerance"]["abs"])


def test_led_current():
    """The lamp with series resistance draws the current of the reference."""
    solution, case = solved(CARDS["op-led"]), CASES["op-led"]
    milliamperes = (volts(solution, "a") - volts(solution, "b")) / 330 * 1e3
    assert milliamperes == pytest.approx(case["expected"]["i_mA"], abs=case["tolerance"]["abs"])


@pytest.mark.parametrize("index", range(4))
def test_two_stage_inverter(index):
    """Transistors with base and collector resistance and Early voltage agree with a published regression output."""
    case = CASES["rtl-inverter-a"]
    solution = solved(
        f"VCC f n0 5\nVIN a n0 {case['inputs']['vin'][index]}\nRB1 a b 10k\nRC1 f c 1k\nQ1 c b n0 M\nRB2 c d 10k\n"
        "Q2 e d n0 M\nRC2 f e 1k\n.model M NPN(IS=1e-16 BF=50 BR=1 RB=70 RC=40 VA=50)"
    )
    for node, key in (("c", "v3"), ("e", "v5")):
        assert volts(solution, node) == pytest.approx(case["expected"][key][index], rel=case["tolerance"]["rel"])


def test_diode_by_decades():
    """A diode of 0.7 V at 1 mA and 0.1 V per decade in a 5 V loop draws what the textbook finds."""
    case = CASES["diode-decade"]
    given, tolerance = case["inputs"], case["tolerance"]
    emission = given["per_decade"] / math.log(10) / THERMAL_VOLTAGE_V
    saturation_A = given["I0"] * 10 ** (-given["V0"] / given["per_decade"])
    solution = solved(f"V1 a n0 5\nR1 a b 1k\nD1 b n0 M\n.model M D(IS={saturation_A!r} N={emission!r})")
    drop_V = volts(solution, "b")
    assert drop_V == pytest.approx(case["expected"]["V"], abs=tolerance["abs_V"])
    assert (given["V"] - drop_V) / given["R"] * 1e3 == pytest.approx(case["expected"]["I_mA"], abs=tolerance["abs_I"])


def test_zener_with_series_resistance():
    """A zener with 20 ohm holds the textbook's voltage and line regulation; its knee is made sharp."""
    case = CASES["zener-rz-a"]
    given = case["inputs"]
    bend_V = given["Vz"] - given["Izt"] * given["rz"]
    model = f".model Z D(IS=1e-14 N=0.01 RS={given['rz']} BV={bend_V!r} IBV={given['Izt']})"
    low, high = (
        volts(solved(f"V1 a n0 {given['V'] + step}\nR1 a b {given['R']}\nDZ n0 b Z\n{model}"), "b") for step in (0, 1)
    )
    assert low == pytest.approx(case["expected"]["Vo"], abs=case["tolerance"]["abs_Vo"])
    line_mV = (high - low) * 1e3
    assert line_mV == pytest.approx(case["expected"]["line_mV_per_V"], abs=case["tolerance"]["abs_line"])


def test_emitter_follower_regulator():
    """Zener and follower share the currents as in the textbook; to 1 mV only, since its drops are taken as constant."""
    case = CASES["emitter-follower-regulator"]
    given, expected, tolerance = case["inputs"], case["expected"], case["tolerance"]
    saturation_A = 11.3e-3 * 50 / 51 / math.exp(given["Vbe"] / THERMAL_VOLTAGE_V)
    solution = solved(
        "V1 a n0 20\nR1 a b 220\nDZ n0 b Z\nQ1 a b c M\nRL c n0 1k\n"
        f".model Z D(IS=1e-14 N=0.01 BV=12 IBV=36m)\n.model M NPN(IS={saturation_A!r} BF=50)"
    )
    base_V, out_V = volts(solution, "b"), volts(solution, "c")
    through_mA, load_mA = (given["Vi"] - base_V) / given["R"] * 1e3, out_V / given["RL"] * 1e3
    assert out_V == pytest.approx(expected["Vo"], abs=1e-3)
    assert through_mA == pytest.approx(expected["IR_mA"], abs=tolerance["abs_mA"])
    assert load_mA == pytest.approx(expected["IL_mA"], abs=tolerance["abs_mA"])
    base_mA = load_mA / 51
    assert through_mA - base_mA == pytest.approx(expected["IZ_mA"], abs=tolerance["abs_mA"])
