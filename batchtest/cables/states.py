"""The states in which a board is looked at: how much it is loaded, and which of its drives are on.

Both follow from the roles in the board's parts file: parts of role "load" or "heater" are what the board may have to
feed, parts of role "logic" are the pins by which its logic switches a drive on, each a resistor to signal ground.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import chain, combinations

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import Assembly, nominal_values
from batchtest.files.circuit import CircuitFile

Floats = NDArray[np.float64]

#: Roles of resistors that stand for what hangs on a board; as the schematic has them they draw half of their load.
LOAD_ROLES = ("load", "heater")
LOGIC_ROLE = "logic"
#: Load -> current as a multiple of the schematic's, as resistance is divided by it.
LOADS = {"no load": 0.0, "half load": 1.0, "full load": 2.0}
#: A load that is not there, and a logic pin with its series resistor that pulls its drive on, ohm.
NO_LOAD_OHM, PULLED_OHM = 1e12, 1e3

_ALL_COMBINATIONS = 3


@dataclass(frozen=True, slots=True)
class State:
    """One state of a board: a key of `LOADS`, and the logic parts that pull their drives on."""

    load: str
    on: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.load}, {' and '.join(self.on)} on" if self.on else f"{self.load}, drives off"


def load_parts(board: CircuitFile) -> tuple[str, ...]:
    """Names of the resistors that load a board."""
    return tuple(_resistors(board, LOAD_ROLES))


def logic_parts(board: CircuitFile) -> tuple[str, ...]:
    """Names of the resistors that stand for the logic pins of a board's drives."""
    return tuple(_resistors(board, (LOGIC_ROLE,)))


def states_of(board: CircuitFile) -> tuple[State, ...]:
    """Every load with every choice of drives; with more than three drives none, each one alone, and all.

    A board without load parts is looked at as its schematic has it, under the name "half load".
    """
    loads = LOADS if load_parts(board) else ["half load"]
    return tuple(State(load, on) for load in loads for on in _choices(logic_parts(board)))


def state_values(assembly: Assembly, board: CircuitFile, states: Sequence[State]) -> Floats:
    """Nominal part values with the board in each state, shape (states, columns)."""
    values = np.repeat(nominal_values(assembly), len(states), axis=0)
    columns = {part: column for column, part in enumerate(assembly.parameters.parts)}
    for row, state in zip(values, states, strict=True):
        share = LOADS[state.load]
        for part in load_parts(board):
            column = columns[f"board.{part}"]
            row[column] = row[column] / share if share else NO_LOAD_OHM
        for part in state.on:
            row[columns[f"board.{part}"]] = PULLED_OHM
    return values


def _resistors(board: CircuitFile, roles: Sequence[str]) -> Iterator[str]:
    """Resistors of some roles in the order of the netlist."""
    parts = board.parts.part
    for card in board.netlist.cards:
        if card.kind == "R" and card.name in parts and parts[card.name].role in roles:
            yield card.name


def _choices(logic: tuple[str, ...]) -> list[tuple[str, ...]]:
    sizes = range(len(logic) + 1) if len(logic) <= _ALL_COMBINATIONS else (0, 1, len(logic))
    return list(chain.from_iterable(combinations(logic, size) for size in sizes))
