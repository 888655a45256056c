"""Everything single that may be wrong, as circuits."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from stations import demo_setup
from test_circuits import ngspice
from test_circuits.demo import demo_circuit, with_loads

from batchtest.circuits import BenchModel, Drive, System, nominal_values
from batchtest.circuits.sources import LimitedSource
from batchtest.diagnosis.faults import Fault, faults
from batchtest.diagnosis.model import Defect, Kind

from .tables import all_faults

SUPPLY = LimitedSource("supply", "host.2", "host.7")
DRIVES = {"supply": Drive(24.0, 0.02, 0.0, 1.0)}


def test_names_are_unique_and_the_good_board_comes_first():
    """A fault is known by its name alone."""
    names = [one.hypothesis.name for one in faults(demo_setup())]
    assert names[0] == "good"
    assert [name for name, count in Counter(names).items() if count > 1] == []


def test_every_part_of_board_and_nest_can_fail_as_its_file_says():
    """No part is left out, the nest's own included."""
    setup, known = demo_setup(), all_faults()
    for prefix, circuit in (("", setup.board_circuit), ("host.", setup.fixture_circuit)):
        for name, part in circuit.parts.part.items():
            assert [mode for mode in part.modes if f"{prefix}{name} {mode}" not in known] == []


def test_every_bridge_of_the_parts_file_is_there_once():
    """A pair of nets is one bridge, however many parts name it; all its neighbours are named with it."""
    parts = demo_setup().board_circuit.parts.part
    pairs = {frozenset((one.net, one.to)) for part in parts.values() for one in part.bridges if one.net != one.to}
    bridges = [one.hypothesis for one in faults(demo_setup()) if one.hypothesis.defect is Defect.BRIDGE]
    assert len(bridges) == len(pairs)
    [bridge] = [one for one in bridges if one.mode == "b12-v12"]
    assert {"RS12", "QL12", "RL12"} <= set(bridge.parts)


@pytest.mark.parametrize(
    ("name", "kind", "defect"),
    [
        pytest.param("DZ12 reversed", Kind.BOARD, Defect.REVERSED, id="diode-turned"),
        pytest.param("Q5 reversed", Kind.BOARD, Defect.REVERSED, id="transistor-turned"),
        pytest.param("Q5 missing", Kind.BOARD, Defect.MISSING, id="transistor-left-out"),
        pytest.param("R5B is 2.7 kohm", Kind.BOARD, Defect.VALUE, id="neighbouring-value"),
        pytest.param("R5B is 24 kohm", Kind.BOARD, Defect.VALUE, id="decade"),
        pytest.param("E33 stuck-low", Kind.BOARD, Defect.DEAD, id="dead-reference"),
        pytest.param("host.DS1 reversed", Kind.FIXTURE, Defect.REVERSED, id="nest"),
        pytest.param("cable: YE is cut", Kind.CABLE, Defect.WIRING, id="wire"),
        pytest.param("mist-lead is fitted", Kind.CABLE, Defect.WIRING, id="other-cable"),
    ],
)
def test_a_fault_says_where_it_is_and_how(name: str, kind: Kind, defect: Defect):
    """Its prior and its words hang on that."""
    one = all_faults()[name].hypothesis
    assert (kind, defect) == (one.kind, one.defect)


def values_of(fault: Fault) -> np.ndarray:
    """Nominal parts with the wrong value in place."""
    values = nominal_values(fault.assembly)
    for index, factor in fault.scales.items():
        values[:, index] *= factor
    return values


@pytest.mark.parametrize(
    "name",
    [
        "b12-v12 bridged",
        "R5B is 2.7 kohm",
        "R5B is 24 kohm",
        "DZ12 is 12 V",
        "DZ5 reversed",
        "Q5 missing",
        "Q33 reversed",
        "DREV reversed",
    ],
)
def test_a_fault_of_our_own_is_what_ngspice_makes_of_it(name: str):
    """Bridges, wrong values, missing and turned parts, powered at 24 V: every test point as libngspice has it."""
    if ngspice.library() is None:
        pytest.skip(f"{ngspice.LIBRARY} is not installed")
    fault = all_faults()[name]
    values = values_of(fault)
    expected = ngspice.voltages(fault.assembly, values[0], [SUPPLY], DRIVES)
    assert expected is not None
    solution = System(fault.assembly, [SUPPLY]).solve(values, DRIVES)
    found = {node: float(solution.voltage(node)[0]) for node in expected}
    assert found == pytest.approx(expected, abs=1e-4)


@cache
def in_cabinet() -> dict[str, Fault]:
    """Every fault of the vent board in the cabinet itself."""
    setup = replace(demo_setup(), fixture_circuit=demo_circuit("cabinet"))
    return {one.hypothesis.name: one for one in faults(setup)}


# Computed by ngspice 39 with the cabinet as host, vent at half load (the study of the demo's circuits, (d) and (e)).
STRING = [
    pytest.param("host.DS1 short", {"host.sg": 1.652}, id="one-short"),
    pytest.param("host.DS2 open", {"host.sg": 22.63}, id="one-open"),
    pytest.param("host.DS3 reversed", {"host.sg": 22.63}, id="one-reversed"),
]


@pytest.mark.parametrize(("name", "expected"), STRING)
def test_the_diode_string_fails_as_it_was_computed_before(name: str, expected: Mapping[str, float]):
    """The same faults in the joined cabinet give the figures of the study, to its four digits."""
    fault = in_cabinet()[name]
    solution = System(fault.assembly).solve(with_loads(fault.assembly, 1), {})
    assert {node: float(solution.voltage(node)[0]) for node in expected} == pytest.approx(expected, abs=6e-3)


# Moves in V against the good board, half load (the same study, (d)).
MOVES = [
    pytest.param("DREV open", {"board.vin": -21.6, "board.v12": -12.1, "board.v5": -5.0}, id="DREV"),
    pytest.param("DZ12 open", {"board.v12": 6.8, "board.v5": 0.18}, id="DZ12"),
    pytest.param("R5A open", {"board.v5": 4.8}, id="R5A"),
    pytest.param("R5B open", {"board.v5": -1.45}, id="R5B"),
    pytest.param("RS12 short", {"board.v12": 0.22}, id="RS12"),
]


@pytest.mark.parametrize(("name", "moves"), MOVES)
def test_single_faults_move_the_rails_as_computed_before(name: str, moves: Mapping[str, float]):
    """By how much each rail goes up or down against signal ground is what the study has."""
    every = in_cabinet()
    good, bad = (System(every[one].assembly).solve(with_loads(every[one].assembly, 1), {}) for one in ("good", name))
    found = {node: float((bad.between(node, "board.sg") - good.between(node, "board.sg"))[0]) for node in moves}
    assert found == pytest.approx(moves, rel=0.03, abs=0.02)


def test_a_bench_model_takes_every_kind_of_fault():
    """Whatever is missing or joined, the meter still has its points."""
    for name in ("Q5 missing", "b12-v12 bridged", "cable is not plugged in at the board"):
        fault = all_faults()[name]
        volts = BenchModel.of(fault.assembly, demo_setup().fixture).cold_all(values_of(fault), [("logic", 1e-3, 10.0)])
        assert 0.0 < volts[0, 0] < 10.0
