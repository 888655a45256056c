"""States of a board: every load with every choice of drives, found by the roles of its parts."""

from __future__ import annotations

import numpy as np
import pytest
from test_circuits.demo import circuit, demo_circuit, joined

from batchtest.cables.states import LOADS, State, load_parts, logic_parts, state_values, states_of
from batchtest.circuits import alone, nominal_values
from batchtest.files.circuit import CircuitFile, Part


def with_roles(cards: str, **roles: str) -> CircuitFile:
    """A small circuit whose parts have roles."""
    small = circuit(cards)
    parts = {name: Part(role=role) for name, role in roles.items()}
    return CircuitFile(small.name, small.netlist, small.parts.model_copy(update={"part": parts}))


@pytest.mark.parametrize(
    ("board", "loads"), [("vent", ("RL12", "RL5", "RL33")), ("mist", ("RL5", "RL33", "RHT"))], ids=["vent", "mist"]
)
def test_loads_and_drives_are_found_by_their_roles(board, loads):
    """What loads a board, a heater included, and what switches its drives stand in its parts file."""
    assert load_parts(demo_circuit(board)) == loads
    assert logic_parts(demo_circuit(board)) == ("RSWA", "RSWB")


@pytest.mark.parametrize("board", ["vent", "mist"])
def test_a_board_of_two_drives_has_twelve_states(board):
    """Three loads, each with the drives off, one on, the other on, and both."""
    names = [str(state) for state in states_of(demo_circuit(board))]
    assert len(set(names)) == 12
    assert names[0] == "no load, drives off"
    assert names[-1] == "full load, RSWA and RSWB on"


def test_a_board_without_loads_and_drives_has_one_state():
    """It is looked at as its schematic has it."""
    board = with_roles("R1 a n0 1k", R1="divider")
    assert states_of(board) == (State("half load"),)


def test_many_drives_are_on_alone_or_together():
    """With four drives: none, each one alone, all; not each of their sixteen choices."""
    cards = "\n".join(f"R{number} a n0 10Meg" for number in range(4))
    board = with_roles(cards, **{f"R{number}": "logic" for number in range(4)})
    chosen = [state.on for state in states_of(board)]
    assert chosen == [(), ("R0",), ("R1",), ("R2",), ("R3",), ("R0", "R1", "R2", "R3")]


@pytest.mark.parametrize(
    ("load", "ohms"), [("no load", 1e12), ("half load", 330.0), ("full load", 165.0)], ids=list(LOADS)
)
def test_a_load_draws_nothing_or_half_or_all(load, ohms):
    """The schematic's load resistors draw half; nothing else changes with the load."""
    assembly, board = joined("cabinet", "vent-lead", "vent"), demo_circuit("vent")
    values, nominal = state_values(assembly, board, [State(load)])[0], nominal_values(assembly)[0]
    parts = assembly.parameters.parts
    assert values[parts.index("board.RL5")] == ohms
    changed = {parts[column] for column in np.flatnonzero(values != nominal)}
    assert changed == (set() if load == "half load" else {"board.RL12", "board.RL5", "board.RL33"})


def test_a_drive_is_pulled_on_by_its_logic_pin():
    """Only that pin's resistor changes, from a leak to one that pulls."""
    assembly, board = joined("cabinet", "mist-lead", "mist"), demo_circuit("mist")
    values = state_values(assembly, board, [State("half load"), State("half load", ("RSWB",))])
    (column,) = np.flatnonzero(values[0] != values[1])
    assert assembly.parameters.parts[column] == "board.RSWB"
    assert values[:, column].tolist() == [10e6, 1e3]


def test_only_resistors_are_loads():
    """A part that is no resistor keeps its values whatever its role says."""
    board = with_roles("R1 a n0 1k\nD1 a n0 M\n.model M D", R1="load", D1="load")
    assert load_parts(board) == ("R1",)
    assert len(states_of(board)) == 3
    assert len(alone(board).parameters) == 6
