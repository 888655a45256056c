"""Parts over their rating: by which quantity, in which state, which pins bring it; against an independent simulator."""

from __future__ import annotations

import math
import tomllib
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest
from test_circuits import ngspice
from test_circuits.demo import circuit, demo_cable, demo_circuit, straight_cable

from batchtest.cables.hookup import Hookup, Points
from batchtest.cables.states import State, state_values, states_of
from batchtest.cables.stress import QUANTITIES, Stressed, overstressed, worst_of_each
from batchtest.circuits.junctions import THERMAL_VOLTAGE_V
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile, Part

REFERENCE = tomllib.loads((Path(__file__).parents[1] / "reference" / "13_wrong_cables.toml").read_text())
PORTS = {1: "ka", 2: "p24", 3: "kb", 4: "pos", 5: "sg", 6: "acc", 7: "n0"}


def points_of(cable: CableFile, board: str) -> Points:
    """A board in the cabinet in all its states."""
    hookup = Hookup.of(demo_circuit("cabinet"), cable, demo_circuit(board))
    return hookup.solve(state_values(hookup.assembly, hookup.board, states_of(hookup.board)))


def exchanged(cable: CableFile, one: int, other: int) -> CableFile:
    """A cable whose cores to two host pins are exchanged."""
    pins = {one: other, other: one}
    wires = [wire.model_copy(update={"host": pins.get(wire.host, wire.host)}) for wire in cable.wires]
    return cable.model_copy(update={"wires": tuple(wires)})


def rated(cards: str, ports: str, **ratings: dict[str, str]) -> CircuitFile:
    """A small circuit with ratings."""
    small = circuit(cards, ports)
    parts = {name: Part.model_validate({"role": "part", "rating": rating}) for name, rating in ratings.items()}
    return CircuitFile(small.name, small.netlist, small.parts.model_copy(update={"part": parts}))


def bridge(**ratings: dict[str, str]) -> Points:
    """10 V through 100 ohm in the host into 100 ohm in the board, by two wires side by side and a return."""
    host = rated("V1 a n0 10\nR1 a p 100\nR2 p q 0.1\n", "p q n0", **ratings)
    cable = straight_cable([(1, 1), (2, 2), (3, 3)])
    board = circuit("RL p q 0.1\nR3 q n0 100", "p q n0")
    hookup = Hookup.of(host, cable, board)
    return hookup.solve(state_values(hookup.assembly, board, [State("half load")]))


@pytest.mark.parametrize(
    ("rating", "quantity", "unit", "stress", "ratio"),
    [
        pytest.param({"voltage": "2 V", "power": "2 W"}, "voltage", "V", 5.0, 2.5, id="voltage"),
        pytest.param({"current": "10 mA", "voltage": "20 V"}, "current", "A", 0.05, 5.0, id="current"),
        pytest.param({"power": "125 mW", "current": "1 A"}, "power", "W", 0.25, 2.0, id="power"),
    ],
)
def test_a_part_is_told_by_the_quantity_it_is_worst_at(rating, quantity, unit, stress, ratio):
    """Of what is rated, that which is furthest past its rating."""
    (found,) = worst_of_each(bridge(R1=rating), [State("half load")])
    assert (found.part, found.quantity, found.unit) == ("host.R1", quantity, unit)
    assert (found.stress, found.ratio) == pytest.approx((stress, ratio), rel=2e-3)
    assert found.state == "half load, drives off"


def test_parts_without_a_rating_and_within_it_are_not_over():
    """A part at its rating's edge is within; one without a rating says nothing."""
    points = bridge(R1={"voltage": "5.1 V"}, R2={})
    assert overstressed(points, [State("half load")]) == ()
    assert [one.part for one in worst_of_each(points, [State("half load")])] == ["host.R1"]


@pytest.mark.parametrize(
    ("suspects", "pins"),
    [
        pytest.param((), (3,), id="nobody-suspected"),
        pytest.param((1, 3), (3,), id="one-of-the-suspects"),
        pytest.param((1, 2), (3,), id="suspects-that-do-not-bring-it"),
    ],
)
def test_the_wire_that_brings_it_is_the_one_without_which_it_is_gone(suspects, pins):
    """Of two wires side by side neither brings the current alone; their common return does."""
    (over,) = overstressed(bridge(R1={"voltage": "2 V"}), [State("half load")], suspects)
    assert over.pins == pins


@pytest.mark.parametrize(("suspects", "pins"), [((), ()), ((2, 1), (1, 2))], ids=["nobody", "both"])
def test_where_no_single_wire_brings_it_the_suspects_do_together(suspects, pins):
    """A part that burns whichever wire is opened is put down to all wires that differ, if any do."""
    (over,) = overstressed(bridge(V1={"voltage": "5 V"}), [State("half load")], suspects)
    assert over.pins == pins


def test_a_differing_wire_is_named_before_the_return_that_all_share():
    """On the mist's lead the vent's burning needs its ground wires too; the pink wire is what is wrong."""
    points = points_of(demo_cable("mist-lead"), "vent")
    states = states_of(demo_circuit("vent"))
    assert {one.pins for one in overstressed(points, states, suspects=(6,))} == {(6,)}
    assert {one.part for one in overstressed(points, states)} == {"host.RACC", "host.DS1", "host.DS2", "host.DS3"}


def test_cores_that_touch_are_opened_together():
    """A board pin whose two cores reach two host pins is named once, and opening it opens both."""
    cable = straight_cable([(1, 1), (2, 2)])
    cable = cable.model_copy(update={"wires": (*cable.wires, cable.wires[0].model_copy(update={"host": 3}))})
    host = rated("V1 a n0 10\nR1 a p 100\nR2 a q 100", "p n0 q", R1={"voltage": "2 V"}, R2={"voltage": "2 V"})
    hookup = Hookup.of(host, cable, circuit("R3 p n0 10", "p n0"))
    points = hookup.solve(state_values(hookup.assembly, hookup.board, [State("half load")]))
    over = overstressed(points, [State("half load")], suspects=(1,))
    assert [(one.part, one.pins) for one in over] == [("host.R1", (1,)), ("host.R2", (1,))]


def test_a_state_without_an_operating_point_does_not_hide_the_others():
    """The worst of those that were solved is told, under its own name."""
    hookup = bridge(R1={"voltage": "2 V"}).hookup
    values = np.repeat(state_values(hookup.assembly, hookup.board, [State("half load")]), 2, axis=0)
    values[0] = math.nan
    (over,) = overstressed(hookup.solve(values), [State("no load"), State("full load")])
    assert over.state == "full load, drives off"
    assert over.pins == (3,)


@pytest.mark.parametrize("board", ["vent", "mist"])
def test_with_the_right_cable_parts_bear_their_published_shares(board):
    """In no state does a part pass 70 % of its rating."""
    worst = {one.part: one.ratio for one in _worst(points_of(demo_cable(f"{board}-lead"), board), board)}
    assert max(worst.values()) < 0.7
    for part, ratio in REFERENCE["normal"][board].items():
        assert worst[part] == pytest.approx(ratio, abs=0.0055)


@pytest.mark.parametrize(
    "case", REFERENCE["wrong"], ids=[f"{case['board']}-on-{case['cable']}" for case in REFERENCE["wrong"]]
)
def test_a_wrong_cable_burns_what_was_published(case):
    """Of four mix-ups only one burns, and exactly four parts."""
    points = points_of(demo_cable(case["cable"]), case["board"])
    worst = {one.part: one.ratio for one in _worst(points, case["board"])}
    assert {part for part, ratio in worst.items() if ratio > 1} == case["above"].keys()
    for part, ratio in {**case["above"], **case["below"]}.items():
        assert worst[part] == pytest.approx(ratio, abs=0.0055)
    if "flow_V" in case:
        row = states_of(demo_circuit(case["board"])).index(State("half load"))
        flow_V = points.volts("board.4")[row] - points.volts("board.5")[row]
        assert flow_V == pytest.approx(case["flow_V"], abs=0.0055)


@pytest.mark.parametrize("pair", list(combinations(PORTS, 2)), ids=lambda pair: f"{PORTS[pair[0]]}-{PORTS[pair[1]]}")
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_one_pair_exchanged_burns_what_was_published(board, pair):
    """16 of 21 pairs overstress something on vent and 15 on mist; five of them only a reversed base-emitter shows."""
    points, name = points_of(exchanged(demo_cable(f"{board}-lead"), *pair), board), "-".join(PORTS[pin] for pin in pair)
    swaps = REFERENCE["swaps"]
    worst = _worst(points, board)[0]
    assert points.lost == ()
    assert (worst.ratio <= 1) == (name in swaps[board])
    if board == "vent" and worst.ratio > 1:
        assert (not _over_otherwise(points)) == (name in swaps["reverse_only"])
    if name in swaps["worst"][board]:
        assert worst.ratio == pytest.approx(swaps["worst"][board][name], rel=0.01)


def test_the_published_pairs_are_as_many_as_said():
    """16 of 21 and 15 of 21 are harmful."""
    assert [21 - len(REFERENCE["swaps"][board]) for board in ("vent", "mist")] == [16, 15]


@pytest.mark.skipif(ngspice.library() is None, reason=f"{ngspice.LIBRARY} is not installed")
@pytest.mark.parametrize("state", states_of(demo_circuit("vent"))[::5], ids=str)
def test_what_burns_agrees_with_an_independent_simulator(state):
    """Power of the outlet's resistor and current of the diode string, from the reference's node voltages.

    Source of the expected values: ngspice as a shared library. The diode's current is the one at which its law,
    I rs + n VT ln(1 + I / is), gives the voltage that the reference has across it.
    """
    hookup = Hookup.of(demo_circuit("cabinet"), demo_cable("mist-lead"), demo_circuit("vent"))
    values = state_values(hookup.assembly, hookup.board, [state])
    volts = ngspice.voltages(hookup.assembly, values[0])
    assert volts is not None
    found = {one.part: one.stress for one in worst_of_each(hookup.solve(values), [state])}
    assert found["host.RACC"] == pytest.approx((volts["host.acc12"] - volts["host.acc"]) ** 2 / 15, rel=1e-6)
    for part, plus, minus in (("DS1", "sg", "sd1"), ("DS2", "sd1", "sd2"), ("DS3", "sd2", "n0")):
        expected_A = _diode_A(volts[f"host.{plus}"] - volts[f"host.{minus}"], 2.5e-9, 1.75, 0.5)
        assert found[f"host.{part}"] == pytest.approx(expected_A, rel=1e-5)


def test_quantities_are_those_that_can_be_rated():
    """Every bound of a rating has a name and a unit for people."""
    assert set(QUANTITIES) == set(Part(role="any").rating.model_dump())


def _worst(points: Points, board: str) -> tuple[Stressed, ...]:
    return worst_of_each(points, states_of(demo_circuit(board)))


def _over_otherwise(points: Points) -> bool:
    """Whether a part is over its rating by anything but a reversed base-emitter."""
    ratings = points.hookup.ratings
    ratios = [stress.ratios(ratings[part]) for part, stress in points.stresses().items()]
    return any(
        float(ratio.max()) > 1 for each in ratios for key, ratio in each.items() if key != "reverse_base_emitter"
    )


def _diode_A(volts: float, saturation_A: float, ideality: float, series_ohm: float) -> float:
    """Current at which a diode with series resistance drops a voltage, by halving."""
    lower_A, upper_A = 0.0, 10.0
    for _ in range(100):
        middle_A = (lower_A + upper_A) / 2
        drop_V = middle_A * series_ohm + ideality * THERMAL_VOLTAGE_V * math.log1p(middle_A / saturation_A)
        lower_A, upper_A = (middle_A, upper_A) if drop_V < volts else (lower_A, middle_A)
    return lower_A
