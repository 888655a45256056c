"""Systems of equations: closed forms, batches, starts, and circuits without an operating point."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.circuits import System, draw_values, nominal_values, with_fault
from batchtest.errors import NoOperatingPoint, SetupError

from .demo import LOAD_POINTS, POINTS, bench_model, joined, small


@given(st.lists(st.tuples(st.floats(2, 1e5), st.floats(2, 1e5)), min_size=1, max_size=8))
def test_a_ladder_of_resistors_agrees_with_its_closed_form(rungs):
    """Series and shunt resistors divide a voltage as folding the ladder from its end says."""
    nodes = ["a", *(f"b{index}" for index in range(len(rungs)))]
    cards = ["V1 a n0 10"]
    for index, (series, shunt) in enumerate(rungs):
        cards += [
            f"RS{index} {nodes[index]} {nodes[index + 1]} {series!r}",
            f"RP{index} {nodes[index + 1]} n0 {shunt!r}",
        ]
    looking_in = [0.0] * (len(rungs) + 1)
    for index in range(len(rungs) - 1, -1, -1):
        series, shunt = rungs[index]
        onward = looking_in[index + 1]
        looking_in[index] = series + 1 / (1 / shunt + (1 / onward if onward else 0))
    assembly = small("\n".join(cards))
    solution = System(assembly).solve(nominal_values(assembly), {})
    volts = 10.0
    for index, (series, _) in enumerate(rungs):
        volts *= 1 - series / looking_in[index]
        assert float(solution.voltage(f"host.b{index}")[0]) == pytest.approx(volts, rel=1e-5)


@pytest.mark.parametrize(
    ("cards", "node", "expected"),
    [
        pytest.param("I1 n0 a 2m\nR1 a n0 1k", "a", 2.0, id="current-source"),
        pytest.param("V1 a n0 3\nE1 b n0 a n0 0.5\nR1 b n0 1k", "b", 1.5, id="controlled-source"),
        pytest.param("V1 a n0 3\nR1 b n0 1k", "b", 0.0, id="dead-node"),
        pytest.param("V1 a n0 3\nR1 a c 0.01\nR2 c d 0.01", "d", 3.0, id="wires"),
        pytest.param("I1 a n0 1u", "a", -1e6, id="into-shunt"),
    ],
)
def test_linear_elements(cards, node, expected):
    """Each linear element does what its card says."""
    assembly = small(cards)
    solution = System(assembly).solve(nominal_values(assembly), {})
    assert float(solution.voltage(f"host.{node}")[0]) == pytest.approx(expected, rel=1e-6, abs=1e-12)


def test_a_batch_equals_its_samples_one_by_one():
    """Solving many boards at once gives each the operating point that it has alone."""
    model = bench_model()
    values = draw_values(model.assembly, [f"VN-{number:04}" for number in range(150)], seed=5)
    together = model.powered(values, 24.0, 1.0, LOAD_POINTS[2])
    for row in (0, 1, 77, 149):
        alone = model.powered(values[row : row + 1], 24.0, 1.0, LOAD_POINTS[2])
        assert together.volts[row] == pytest.approx(alone.volts[0], abs=1e-7)


def test_a_start_nearby_gives_the_same_point_in_fewer_steps():
    """A warm start changes the way, not the result."""
    model = bench_model()
    values = nominal_values(model.assembly)
    before = model.powered(values, 24.0, 1.0, LOAD_POINTS[1])
    cold = model.powered(values, 24.0, 1.0, LOAD_POINTS[2])
    warm = model.powered(values, 24.0, 1.0, LOAD_POINTS[2], start=before)
    assert warm.volts == pytest.approx(cold.volts, abs=1e-7)
    assert warm.iterations[0] < cold.iterations[0] / 2


def test_a_start_may_come_from_the_circuit_without_its_fault():
    """The point of the good board starts the search for the faulty one, whose nodes are not all the same."""
    good = joined("cabinet", "vent-lead", "vent")
    bad = with_fault(good, "board.Q5 open-b")
    start = System(good).solve(nominal_values(good), {})
    warm = System(bad).solve(nominal_values(bad), {}, start)
    cold = System(bad).solve(nominal_values(bad), {})
    assert warm.volts == pytest.approx(cold.volts, abs=1e-6)


def test_a_batch_may_start_from_a_batch():
    """Each sample begins at its own point of the batch before."""
    model = bench_model()
    values = draw_values(model.assembly, ["VN-0001", "VN-0002", "VN-0003"])
    before = model.powered(values, 24.0, 1.0, {})
    after = model.powered(values, 24.0, 1.0, {2: 0.001}, start=before)
    assert after.iterations.max() <= 6


def test_two_voltage_sources_in_a_loop_name_the_node():
    """A circuit that has no solution says so, names a node and the sample, and does not hang."""
    assembly = small("V1 a n0 3\nV2 a n0 4\nR1 a b 1k\nD1 b n0 M\n.model M D(IS=1e-14)")
    values = np.repeat(nominal_values(assembly), 2, axis=0)
    with pytest.raises(NoOperatingPoint, match=r"no operating point for sample 0: host\.\w+ would not settle .*loops"):
        System(assembly).solve(values, {})


def test_the_sample_without_a_solution_is_named():
    """In a batch the message tells which sample it was, and the others do not hinder it."""
    assembly = small("V1 a n0 3\nV2 b n0 3\nR1 a c 1\nR2 b c 1\nE1 d n0 d n0 1")
    values = np.repeat(nominal_values(assembly), 3, axis=0)
    column = assembly.parameters.parts.index("host.E1")
    values[:, column] = [0.5, 0.5, 1.0]
    with pytest.raises(NoOperatingPoint, match="for sample 2: host"):
        System(assembly).solve(values, {})


@pytest.mark.parametrize(
    ("shape", "message"),
    [
        pytest.param((1, 3), r"have the shape \(1, 3\); they need \(samples, 1\)", id="columns"),
        pytest.param((0, 1), r"have the shape \(0, 1\)", id="no-samples"),
    ],
)
def test_values_of_the_wrong_shape_are_refused(shape, message):
    """Part values must fit the circuit."""
    with pytest.raises(SetupError, match=message):
        System(small("R1 a n0 1k")).solve(np.ones(shape), {})


def test_a_start_of_another_number_of_samples_is_refused():
    """A start has one sample, or as many as there are to be solved."""
    assembly = small("R1 a n0 1k")
    system = System(assembly)
    start = system.solve(np.full((2, 1), 1e3), {})
    with pytest.raises(SetupError, match=r"the start has 2 samples; it needs 1 or 3"):
        system.solve(np.full((3, 1), 1e3), {}, start)


def test_solutions_know_terminals_nodes_and_sources():
    """A misspelt terminal, node or source gets the nearest name."""
    solution = bench_model().powered(nominal_values(bench_model().assembly), 24.0, 1.0, {})
    assert solution.between(*POINTS["logic"]) == solution.between("board.v5", "board.sg")
    with pytest.raises(SetupError, match=r"no terminal or node 'TP33' in the circuit; did you mean 'TP3'\?"):
        solution.voltage("TP33")
    with pytest.raises(SetupError, match=r"no source 'suply' in the system; did you mean 'supply'\?"):
        solution.source_A("suply")


@pytest.mark.parametrize(
    ("cable", "board", "fault"),
    [
        pytest.param("mist-lead", "mist", "host.D2 short", id="feed-shorted"),
        pytest.param("mist-lead", "mist", "host.D2 reversed", id="feed-starved"),
        pytest.param("mist-lead", "mist", "host.D3 reversed", id="feed-starved-too"),
        pytest.param("mist-lead", "vent", "board.QL12 open-b", id="wrong-cable-and-no-limit"),
        pytest.param("mist-lead", "mist", "host.RSG short", id="string-on-the-feed"),
    ],
)
def test_nets_between_leaks_and_large_currents_settle(cable, board, fault):
    """Where a net held by leakage lies beside large currents, rounding does not keep the search from its end."""
    assembly = with_fault(joined("cabinet", cable, board), fault)
    assert np.isfinite(System(assembly).solve(nominal_values(assembly), {}).volts).all()
