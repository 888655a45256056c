"""Host, cable and board as one circuit: what feeds it, what is open in it, and rows that do not settle."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np
import pytest
from test_circuits.demo import ROOT, circuit, demo_cable, demo_circuit, straight_cable

from batchtest.cables.hookup import Feed, Hookup
from batchtest.cables.states import State, state_values, states_of
from batchtest.circuits import Assembly, System, alone, nominal_values, terminal_currents, with_fault
from batchtest.circuits.faults import OPEN_OHM, SHORT_OHM
from batchtest.errors import NoOperatingPoint, SetupError
from batchtest.files.library import load_library

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

LOOP = "V1 p n0 10\nR1 p n0 1k"
BOTH_DRIVES = State("half load", ("RSWA", "RSWB"))


def small_hookup(host: str, board: str) -> Hookup:
    """Two circuits of pins p and n0, straight through."""
    cable = straight_cable([(1, 1), (2, 2)])
    return Hookup.of(circuit(host, "p n0"), cable, circuit(board, "p n0"))


def test_a_host_that_nothing_feeds_is_refused():
    """A dead circuit would look harmless with every cable."""
    with pytest.raises(SetupError, match=r"nothing feeds vent-nest: .*give the bench supply's terminals"):
        Hookup.of(demo_circuit("vent-nest"), demo_cable("vent-lead"), demo_circuit("vent"))


def test_the_feed_of_a_fixture_stands_where_its_power_goes_in():
    """Its terminals and its full voltage are the fixture's, its limit the bench's."""
    fixture = load_library(ROOT).fixtures["vent-nest"]
    assert Feed.into(fixture, 0.5) == Feed("host.2", "host.7", 24.0, 0.5)


def test_a_nest_is_fed_by_the_bench():
    """The feed stands at its terminals as long as its current limit lets it, and gives way beyond."""
    nest, lead, board = demo_circuit("vent-nest"), demo_cable("vent-lead"), demo_circuit("vent")
    for limit_A, lower_V, upper_V in ((1.0, 23.9, 24.0), (0.03, 5.0, 20.0)):
        hookup = Hookup.of(nest, lead, board, Feed("host.2", "host.7", 24.0, limit_A))
        volts = float(hookup.solve(nominal_values(hookup.assembly)).volts("host.p24")[0])
        assert lower_V < volts < upper_V


@pytest.mark.parametrize(
    ("host", "part"),
    [
        pytest.param("V1 p n0 10\nR1 p n0 1k", "host.R1", id="resistor"),
        pytest.param("V1 p n0 10\nR1 p a 1k\nD1 a n0 M\n.model M D", "host.D1", id="diode"),
        pytest.param("V1 p n0 10\nRB p b 10k\nRE e n0 1k\nQ1 p b e M\n.model M NPN", "host.Q1", id="transistor"),
        pytest.param("V1 p n0 10\nE1 b n0 p n0 0.5\nR1 b n0 1k", "host.E1", id="amplifier"),
    ],
)
def test_a_part_that_has_burned_open_carries_nothing(host, part):
    """Whatever kind it is, no current flows through it any more, and it is not rated any more."""
    hookup = small_hookup(host, "R1 p n0 1k").without(part)
    points = hookup.solve(nominal_values(hookup.assembly))
    assert points.solution is not None
    currents = terminal_currents(points.solution, points.values)
    assert max(abs(float(current[0])) for current in currents[part]) < 2e-8
    assert hookup.burned == (part,)
    assert part not in hookup.ratings


def test_a_row_without_an_operating_point_is_told_and_the_others_are_kept():
    """What is not known is not a number, never nothing."""
    hookup = small_hookup(LOOP, "R1 p n0 1k")
    values = np.repeat(nominal_values(hookup.assembly), 3, axis=0)
    values[1, hookup.assembly.parameters.parts.index("board.R1")] = math.nan
    points = hookup.solve(values)
    assert points.lost == (1,)
    assert points.volts("host.p") == pytest.approx([10.0, math.nan, 10.0], nan_ok=True)


def test_nothing_is_known_where_no_row_settles():
    """With every row lost there are voltages and shares that are not numbers, and no stresses."""
    host, lead, board = demo_circuit("cabinet"), demo_cable("vent-lead"), demo_circuit("vent")
    hookup = Hookup.of(host, lead, board)
    values = np.full((2, len(hookup.assembly.parameters)), math.nan)
    points = hookup.solve(values)
    assert points.lost == (0, 1)
    assert np.isnan(points.volts("host.p24")).all()
    assert np.isnan(points.shares()["host.RACC"]).all()
    assert points.stresses() == {}


def test_every_part_of_the_demo_that_is_rated_bears_something():
    """Shares are found for all parts of host and board."""
    hookup = Hookup.of(demo_circuit("cabinet"), demo_cable("vent-lead"), demo_circuit("vent"))
    shares = hookup.solve(nominal_values(hookup.assembly)).shares()
    assert shares.keys() == hookup.ratings.keys()
    assert 0.3 < max(float(share[0]) for share in shares.values()) < 1.0


@pytest.mark.parametrize("cable", ["vent-lead", "mist-lead", "long-lead"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_every_board_on_every_cable_has_an_operating_point_in_every_state(board, cable):
    """The 72 healthy and wrong cases that are hard to solve from nothing."""
    hookup = Hookup.of(demo_circuit("cabinet"), demo_cable(cable), demo_circuit(board))
    states = states_of(demo_circuit(board))
    assert hookup.solve(state_values(hookup.assembly, demo_circuit(board), states)).lost == ()


@pytest.mark.parametrize("place", ["host", "board"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_every_single_fault_has_an_operating_point(board, place):
    """Every part of board and cabinet failed in every way it can, every wire cut, at half load, drives off and on."""
    hookup = Hookup.of(demo_circuit("cabinet"), demo_cable(f"{board}-lead"), demo_circuit(board))
    values = state_values(hookup.assembly, demo_circuit(board), [State("half load"), BOTH_DRIVES])
    columns = dict(_resistor_faults(hookup.assembly, place, board))
    batch = np.repeat(values, len(columns), axis=0)
    for row, (column, ohms) in enumerate([*columns.values()] * 2):
        batch[row, column] = ohms
    lost = [[*columns][row % len(columns)] for row in hookup.solve(batch).lost]
    lost += [fault for fault in _other_faults(hookup.assembly, place, board) if not _settles(hookup, fault, values)]
    assert lost == []


def _modes(place: str, board: str) -> Iterator[tuple[str, str]]:
    parts = demo_circuit("cabinet" if place == "host" else board).parts.part
    yield from ((f"{place}.{name}", mode) for name, part in parts.items() for mode in part.modes)
    if place == "board":
        yield from ((f"cable.W{pin}", "open") for pin in range(1, 8))


def _resistor_faults(assembly: Assembly, place: str, board: str) -> Iterator[tuple[str, tuple[int, float]]]:
    """Resistors and wires fail by their values alone, so that all of them are one batch."""
    resistors = {element.name for element in assembly.elements if element.kind == "R"}
    for part, mode in _modes(place, board):
        if part in resistors:
            column = assembly.parameters.parts.index(part)
            yield f"{part} {mode}", (column, OPEN_OHM if mode == "open" else SHORT_OHM)


def _other_faults(assembly: Assembly, place: str, board: str) -> list[str]:
    known = dict(_resistor_faults(assembly, place, board))
    return [f"{part} {mode}" for part, mode in _modes(place, board) if f"{part} {mode}" not in known]


def _settles(hookup: Hookup, fault: str, values: np.ndarray) -> bool:
    try:
        System(with_fault(hookup.assembly, fault)).solve(values, {})
    except NoOperatingPoint:
        return False
    return True


def test_three_diodes_in_series_drop_two_volts():
    """A silicon diode drops about 0.7 V, three of them about 2 V (common practice, no source)."""
    solution = System(alone(demo_circuit("cabinet"))).solve(nominal_values(alone(demo_circuit("cabinet"))), {})
    for plus, minus in (("host.sg", "host.sd1"), ("host.sd1", "host.sd2"), ("host.sd2", "host.n0")):
        assert float(solution.between(plus, minus)[0]) == pytest.approx(0.7, abs=0.07)
    assert float(solution.between("host.sg", "host.n0")[0]) == pytest.approx(2.0, abs=0.2)


def test_an_emitter_follower_sits_one_drop_under_its_zener():
    """The cabinet's outlet stands one diode drop under its zener (common practice, no source)."""
    solution = System(alone(demo_circuit("cabinet"))).solve(nominal_values(alone(demo_circuit("cabinet"))), {})
    assert float(solution.between("host.vb", "host.acc12")[0]) == pytest.approx(0.65, abs=0.1)


def test_a_resistor_of_20_ohm_in_a_12_volt_line_costs_2_volts_at_100_milliamperes():
    """Ohm's law at an outlet with a series resistor (common practice, no source)."""
    cable = straight_cable([(1, 1), (2, 2)])
    hookup = Hookup.of(circuit("V1 a n0 12\nR1 a p 20", "p n0"), cable, circuit("I1 p n0 100m", "p n0"))
    assert float(hookup.solve(nominal_values(hookup.assembly)).volts("host.1")[0]) == pytest.approx(10.0, abs=1e-6)
