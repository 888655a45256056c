"""The demo's circuits for tests, and small circuits from a few lines of netlist."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from batchtest.circuits import Assembly, BenchModel, alone, join, nominal_values
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile, Connector, PartsFile
from batchtest.files.library import load_cable
from batchtest.files.netlist import parse_netlist
from batchtest.files.parts import load_circuit

ROOT = Path(__file__).parents[2]

POINTS = {
    "feed": ("host.2", "host.7"),
    "analog": ("TP4", "TP1"),
    "logic": ("TP3", "TP1"),
    "core": ("TP5", "TP1"),
    "bias": ("TP6", "TP1"),
    "id": ("host.8", "host.7"),
}
LOADS = {1: "analog", 2: "logic", 3: "core"}
#: Currents of the demo's load points, A.
LOAD_POINTS = ({}, {1: 0.02, 2: 0.02, 3: 0.01}, {1: 0.04, 2: 0.04, 3: 0.02})


@cache
def demo_circuit(name: str) -> CircuitFile:
    """A circuit of the demo."""
    return load_circuit(ROOT / "fixtures" / "circuits", name)


@cache
def demo_cable(name: str) -> CableFile:
    """A cable of the demo."""
    return load_cable(ROOT, name)


@cache
def joined(host: str, cable: str, board: str) -> Assembly:
    """Circuits of the demo, joined."""
    return join(demo_circuit(host), demo_cable(cable), demo_circuit(board))


@cache
def bench_model() -> BenchModel:
    """A vent board in its nest, as the bench drives it."""
    return BenchModel(joined("vent-nest", "vent-lead", "vent"), POINTS, "feed", LOADS)


def circuit(cards: str, ports: str = "n0") -> CircuitFile:
    """A circuit from cards alone: its ground is n0 and its parts have no tolerance."""
    netlist = parse_netlist(f".subckt small {ports}\n{cards}\n.ends", "small.cir")
    connector = Connector(kind="none", pins=netlist.ports)
    return CircuitFile("small", netlist, PartsFile(circuit="small", connector=connector))


def small(cards: str) -> Assembly:
    """A small circuit by itself."""
    return alone(circuit(cards))


def with_loads(assembly: Assembly, share: float) -> np.ndarray:
    """Nominal parts, with the boards' load resistors drawing `share` of their current."""
    values = nominal_values(assembly)
    for column, part in enumerate(assembly.parameters.parts):
        if part in ("board.RL12", "board.RL5", "board.RL33", "board.RHT"):
            values[0, column] = values[0, column] / share if share else 1e12
    return values


def bare_host() -> CircuitFile:
    """A host connector with nothing behind it: the cable's end is open to the meter."""
    return circuit("", "ka p24 kb pos sg acc n0 id")


def straight_cable(wires: list[tuple[int, int]]) -> CableFile:
    """A cable of 1 m with the given (board, host) pins, 0.1 ohm a wire."""
    return CableFile.model_validate(
        {
            "takes": ["small"],
            "length": "1 m",
            "per_metre": "80 mohm/m",
            "contact": "10 mohm",
            "wires": [{"board": board, "host": host, "colour": "WH"} for board, host in wires],
        }
    )
