"""Currents of a solved circuit: they add up to nothing at every node, and no part of the demo bears too much."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.circuits import System, draw_values, nominal_values
from batchtest.circuits.currents import ratings_of, stresses, terminal_currents
from batchtest.circuits.equations import SHUNT_S
from batchtest.files.circuit import Rating

from .demo import LOAD_POINTS, bench_model, demo_circuit, joined, small


@pytest.mark.parametrize(
    ("host", "cable", "board"),
    [("cabinet", "vent-lead", "vent"), ("cabinet", "mist-lead", "mist"), ("cabinet", "mist-lead", "vent")],
)
def test_currents_at_every_node_add_up_to_nothing(host, cable, board):
    """Kirchhoff's current law holds at every node, to the leak that every node has."""
    assembly = joined(host, cable, board)
    values = draw_values(assembly, ["VN-0001", "VN-0002"])
    solution = System(assembly).solve(values, {})
    currents = terminal_currents(solution, values)
    left = {node: np.zeros(2) for node in assembly.nodes}
    for element in assembly.elements:
        for node, current in zip(element.nodes, currents[element.name], strict=False):
            left[node] = left[node] + current
    left.pop(assembly.ground)
    leak_A = 10 * SHUNT_S * np.abs(solution.volts).max()
    assert max(np.abs(current).max() for current in left.values()) < leak_A


@pytest.mark.parametrize("amperes", LOAD_POINTS, ids=["none", "half", "full"])
def test_no_part_of_a_board_under_test_passes_four_fifths_of_its_rating(amperes):
    """The demo's load points harm neither board nor nest."""
    model = bench_model()
    values = nominal_values(model.assembly)
    solution = model.powered(values, 24.0, 1.0, amperes)
    circuits = {"host": demo_circuit("vent-nest"), "board": demo_circuit("vent")}
    found = stresses(solution, values)
    assert max(float(found[part].share(rating)[0]) for part, rating in ratings_of(circuits).items()) < 0.8


def test_what_the_wrong_cable_overstresses():
    """A vent on the mist's lead burns the outlet's limiter and the diode string (computed once with ngspice 39)."""
    assembly = joined("cabinet", "mist-lead", "vent")
    values = nominal_values(assembly)
    solution = System(assembly).solve(values, {})
    found = stresses(solution, values)
    ratings = ratings_of({"host": demo_circuit("cabinet")})
    above = {part for part, rating in ratings.items() if found[part].share(rating)[0] > 1}
    assert above == {"host.RACC", "host.DS1", "host.DS2", "host.DS3"}


@pytest.mark.parametrize(
    ("cards", "part", "expected"),
    [
        pytest.param("V1 a n0 10\nR1 a n0 100", "R1", (10, 0.1, 1.0, 0), id="resistor"),
        pytest.param("I1 n0 a 1m\nR1 a n0 1k", "I1", (1, 1e-3, 1e-3, 0), id="current-source"),
        pytest.param("V1 a n0 10\nRW a n0 0.5", "RW", (10, 20, 200, 0), id="wire"),
        pytest.param("V1 a n0 -9\nR1 a b 1k\nD1 b n0 M\n.model M D", "D1", (9, 9e-12, 9e-11, 0), id="blocking-diode"),
        pytest.param("V1 a n0 10\nV2 b n0 -4\nQ1 a b n0 M\n.model M NPN", "Q1", (10, 0, 0, 4), id="reversed-NPN"),
        pytest.param("V1 a n0 -10\nV2 b n0 4\nQ1 a b n0 M\n.model M PNP", "Q1", (10, 0, 0, 4), id="reversed-PNP"),
    ],
)
def test_what_a_part_bears(cards, part, expected):
    """Voltage, current, power and reversed base-emitter voltage of single parts."""
    assembly = small(cards)
    values = nominal_values(assembly)
    stress = stresses(System(assembly).solve(values, {}), values)[f"host.{part}"]
    found = (stress.voltage, stress.current, stress.power, stress.reverse_base_emitter)
    assert [float(one[0]) for one in found] == pytest.approx(expected, rel=1e-2, abs=1e-9)


def test_a_share_is_the_largest_of_what_is_rated():
    """Only what has a rating counts, and the worst of it."""
    assembly = small("V1 a n0 10\nR1 a n0 100")
    values = nominal_values(assembly)
    stress = stresses(System(assembly).solve(values, {}), values)["host.R1"]
    rating = Rating.model_validate({"voltage": "200 V", "power": "2 W"})
    assert float(stress.share(rating)[0]) == pytest.approx(0.5)
    assert float(stress.share(Rating())[0]) == 0.0
    assert {key: float(ratio[0]) for key, ratio in stress.ratios(rating).items()} == pytest.approx(
        {"voltage": 0.05, "power": 0.5}
    )


def test_loads_are_not_rated():
    """A load stands for what hangs on a board; every other part keeps the rating of its file."""
    ratings = ratings_of({"board": demo_circuit("vent")})
    parts = demo_circuit("vent").parts.part
    assert ratings == {f"board.{name}": part.rating for name, part in parts.items() if part.role != "load"}
    assert len(parts) - len(ratings) == 3
