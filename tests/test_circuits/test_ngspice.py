"""Operating points against the independent reference: every node within 0.1 mV of ngspice.

Source of the expected values: ngspice as a shared library, `op` with reltol 1e-7, gmin 1e-12, rshunt 1e12, tnom 27 C;
the circuit at 27 C where a test names no other temperature.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np
import pytest

from batchtest.circuits import (
    Assembly,
    Drive,
    LimitedSource,
    System,
    draw_values,
    nominal_values,
    with_fault,
)
from batchtest.circuits.faults import fault_modes

from . import ngspice
from .demo import LOAD_POINTS, POINTS, bench_model, joined, small, with_loads

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

pytestmark = pytest.mark.skipif(ngspice.library() is None, reason=f"{ngspice.LIBRARY} is not installed")

AGREE_V = 1e-4

#: Every how many-th fault is compared in a run; all of them (1,093) agreed to 23 uV when this was written.
FAULT_STEP = 6


def worst_V(
    assembly: Assembly,
    values: np.ndarray,
    sources: Sequence[LimitedSource] = (),
    drives: Mapping[str, Drive] = {},
    temperature_C: float = 27.0,
) -> float:
    """Largest difference of any node, V."""
    expected = ngspice.voltages(assembly, values[0], sources, drives, temperature_C)
    assert expected is not None, "ngspice finds no operating point here"
    solution = System(assembly, sources).solve(values, drives, temperature_C=temperature_C)
    return max(abs(volts - float(solution.voltage(node)[0])) for node, volts in expected.items())


@pytest.mark.parametrize("share", [0.0, 1.0, 2.0], ids=["no-load", "half-load", "full-load"])
@pytest.mark.parametrize("cable", ["vent-lead", "mist-lead", "long-lead"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_cabinet_cable_and_board_agree(board, cable, share):
    """Every board on every cable at every load has the reference's voltage at every node, the wrong cables included."""
    assembly = joined("cabinet", cable, board)
    assert worst_V(assembly, with_loads(assembly, share)) < AGREE_V


@pytest.mark.parametrize("amperes", LOAD_POINTS, ids=["none", "half", "full"])
@pytest.mark.parametrize("volts", [5.0, 12.0, 24.0])
def test_a_board_in_its_nest_agrees(volts, amperes):
    """Supply and load channels give the reference's voltages at every step of the soft start and every load point."""
    drives = {"supply": Drive(volts, 0.02, 0.0, 1.0)}
    drives |= {f"load.{channel}": Drive(0.0, 0.05, -current, 0.0) for channel, current in amperes.items()}
    system = bench_model().system
    assert worst_V(system.assembly, nominal_values(system.assembly), system.sources, drives) < AGREE_V


def test_a_supply_in_its_current_limit_agrees():
    """A supply that gives up its voltage to hold 30 mA leaves every node where the reference has it."""
    system = bench_model().system
    drives = {"supply": Drive(24.0, 0.02, 0.0, 0.03)}
    assert worst_V(system.assembly, nominal_values(system.assembly), system.sources, drives) < AGREE_V


#: Points and test currents in mA; for 1 mA into the bias rail ngspice itself finds no operating point.
COLD = [(point, mA) for point in POINTS for mA in (1.0, 0.1, 0.01) if (point, mA) != ("bias", 1.0)]


@pytest.mark.parametrize(("point", "milliamperes"), COLD)
def test_cold_readings_agree(point, milliamperes):
    """The ohms source of an unpowered board leaves every node where the reference has it."""
    system = bench_model().system
    drives = {f"meter.{point}": Drive(10.0, 1.0, 0.0, milliamperes * 1e-3)}
    assert worst_V(system.assembly, nominal_values(system.assembly), system.sources, drives) < AGREE_V


@pytest.mark.parametrize("temperature_C", [18.0, 28.0, 60.0])
@pytest.mark.parametrize(("cable", "board"), [("vent-lead", "vent"), ("mist-lead", "mist"), ("mist-lead", "vent")])
def test_a_cabinet_that_is_colder_or_warmer_agrees(cable, board, temperature_C):
    """At other temperatures every node stands where the reference has it, with the right cable and the wrong one."""
    assembly = joined("cabinet", cable, board)
    assert worst_V(assembly, with_loads(assembly, 1.0), temperature_C=temperature_C) < AGREE_V


@pytest.mark.parametrize("temperature_C", [18.0, 28.0])
@pytest.mark.parametrize("amperes", LOAD_POINTS, ids=["none", "half", "full"])
def test_a_powered_nest_that_is_colder_or_warmer_agrees(amperes, temperature_C):
    """At other temperatures supply and load channels give the reference's voltages."""
    system = bench_model().system
    drives = {"supply": Drive(24.0, 0.02, 0.0, 1.0)}
    drives |= {f"load.{channel}": Drive(0.0, 0.05, -current, 0.0) for channel, current in amperes.items()}
    off_V = worst_V(system.assembly, nominal_values(system.assembly), system.sources, drives, temperature_C)
    assert off_V < AGREE_V


@pytest.mark.parametrize("temperature_C", [18.0, 28.0])
@pytest.mark.parametrize("point", POINTS)
def test_cold_readings_that_are_colder_or_warmer_agree(point, temperature_C):
    """At other temperatures the ohms source of an unpowered board leaves every node where the reference has it."""
    system = bench_model().system
    drives = {f"meter.{point}": Drive(10.0, 1.0, 0.0, 1e-4)}
    off_V = worst_V(system.assembly, nominal_values(system.assembly), system.sources, drives, temperature_C)
    assert off_V < AGREE_V


@pytest.mark.parametrize("temperature_C", [-20.0, 18.0, 27.0, 70.0, 110.0])
@pytest.mark.parametrize("milliamperes", [0.5, 5.0, 50.0])
def test_a_leaky_diode_breaks_down_where_the_reference_has_it(milliamperes, temperature_C):
    """As its leak grows with temperature the knee of a breakdown moves, until it begins at BV itself."""
    assembly = small(f"I1 n0 a {milliamperes}m\nD1 n0 a M\n.model M D(IS=1e-8 N=1.1 RS=2 BV=10 IBV=5m)")
    assert worst_V(assembly, nominal_values(assembly), temperature_C=temperature_C) < AGREE_V


@pytest.mark.parametrize("logic", ["a", "b", "both"])
def test_boards_that_drive_the_host_agree(logic):
    """With one or both drives pulled on by their logic pins the relay coils draw what the reference says."""
    assembly = joined("cabinet", "vent-lead", "vent")
    values = nominal_values(assembly)
    for letter in "ab" if logic == "both" else logic:
        values[0, assembly.parameters.parts.index(f"board.RSW{letter.upper()}")] = 100.0
    assert worst_V(assembly, values) < AGREE_V


def test_drawn_boards_agree():
    """Parts drawn from their tolerances, breakdown voltages and saturation currents included, go along."""
    assembly = joined("cabinet", "mist-lead", "mist")
    for values in draw_values(assembly, [f"MI-{number}" for number in range(10)], seed=3):
        assert worst_V(assembly, values[None]) < AGREE_V


def _some_faults() -> list[tuple[str, str, str]]:
    cases = []
    for cable, board in (("vent-lead", "vent"), ("mist-lead", "mist"), ("mist-lead", "vent")):
        assembly = joined("cabinet", cable, board)
        faults = [f"{element.name} {mode}" for element in assembly.elements for mode in fault_modes(element)]
        cases += [(cable, board, fault) for fault in faults[::FAULT_STEP]]
    return cases


@pytest.mark.parametrize(
    ("cable", "board", "fault"), [pytest.param(*case, id="-".join(case)) for case in _some_faults()]
)
def test_single_faults_agree(cable, board, fault):
    """A faulty part leaves every node, those held by leakage included, where the reference has it."""
    assembly = with_fault(joined("cabinet", cable, board), fault)
    assert worst_V(assembly, nominal_values(assembly)) < AGREE_V
