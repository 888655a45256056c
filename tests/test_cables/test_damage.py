"""What a cable would burn, what burns after that, and what goes astray though nothing burns."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

import pytest
from test_circuits.demo import circuit, demo_cable, demo_circuit, straight_cable

from batchtest.cables.damage import Damage, damage
from batchtest.cables.hookup import Feed, Hookup
from batchtest.cables.states import State, state_values
from batchtest.errors import SetupError
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile, Part

REFERENCE = tomllib.loads((Path(__file__).parents[1] / "reference" / "13_wrong_cables.toml").read_text())
BENCH = Feed("host.2", "host.7", 24.0, 1.0)


@cache
def demo_damage(host: str, cable: str, board: str) -> Damage:
    """A cell of the demo's library."""
    return damage(
        demo_circuit(host),
        demo_cable(cable),
        demo_circuit(board),
        name=cable,
        right=demo_cable(f"{board}-lead"),
        feed=BENCH if host == "vent-nest" else None,
    )


def parts(cards: str, ports: str, **entries: Part) -> CircuitFile:
    """A small circuit with entries for its parts."""
    small = circuit(cards, ports)
    return CircuitFile(small.name, small.netlist, small.parts.model_copy(update={"part": entries}))


def rating(**bounds: str) -> Part:
    """A part with a rating."""
    return Part.model_validate({"role": "part", "rating": bounds})


def switching() -> CircuitFile:
    """A board that pulls its pin a through a transistor when its logic part is on."""
    cards = (
        "RSW bh n0 10Meg\nRUP v bh 10k\nQH c bh v P\nRB c b 10k\nRD b n0 10k\nQA a b n0 N\n.model P PNP\n.model N NPN"
    )
    return parts(cards, "v a n0", RSW=Part(role="logic"))


@pytest.mark.parametrize("host", ["cabinet", "vent-nest"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_the_right_cable_does_nothing_wrong(host, board):
    """Nothing is over its rating, astray or unsolved."""
    found = demo_damage(host, f"{board}-lead", board)
    assert (found.host, found.cable, found.board) == (host, f"{board}-lead", board)
    assert (found.stressed, found.next, found.astray, found.unsolved) == ((), (), (), ())
    assert found.harmless
    assert found.nearest is not None
    assert found.nearest.part in ("host.RK1", "host.RK2")


def test_the_accident_this_tool_exists_to_prevent():
    """The vent on the mist's lead burns the outlet's resistor and the string, by the pink wire at board pin 6."""
    found = demo_damage("cabinet", "mist-lead", "vent")
    assert [one.part for one in found.stressed] == ["host.RACC", "host.DS1", "host.DS2", "host.DS3"]
    worst = found.stressed[0]
    assert (worst.quantity, worst.unit, worst.rating, worst.state) == ("power", "W", 2.0, "no load, drives off")
    assert worst.stress == pytest.approx(4.50, abs=0.005)
    assert {one.pins for one in found.stressed} == {(6,)}
    assert not found.harmless
    assert found.nearest is not None
    assert (found.nearest.part, found.nearest.ratio) == (worst.part, worst.ratio)


def test_what_burns_next_is_told_for_each_part_that_may_burn_first():
    """Without the resistor all is well; without one diode of the string the cabinet's transistor goes."""
    found = demo_damage("cabinet", "mist-lead", "vent")
    assert [link.after for link in found.next] == [("host.RACC",), ("host.DS1",), ("host.DS1", "host.Q1")]
    assert [[one.part for one in link.stressed] for link in found.next] == [[], ["host.Q1"], []]
    (transistor,) = found.next[1].stressed
    assert transistor.quantity == "reverse base-emitter voltage"
    assert transistor.stress == pytest.approx(REFERENCE["cascade"]["reverse_base_emitter_V"], abs=0.5)
    assert transistor.ratio == pytest.approx(REFERENCE["cascade"]["reverse_base_emitter_ratio"], abs=0.05)
    assert "board pin 5 (sg) stands 22.2 V above n0, not 2.60 V" in found.next[1].astray


def test_what_burns_next_can_be_left_out():
    """What burns first is told all the same."""
    circuits = demo_circuit("cabinet"), demo_cable("mist-lead"), demo_circuit("vent")
    found = damage(*circuits, name="mist-lead", right=demo_cable("vent-lead"), deep=False)
    assert found.next == ()
    assert found.stressed == demo_damage("cabinet", "mist-lead", "vent").stressed


@pytest.mark.parametrize(
    ("burned", "pin", "expected_V"),
    [
        *((burned, "host.6", volts) for burned, volts in REFERENCE["cascade"]["acc_V"].items()),
        *((burned, "host.5", volts) for burned, volts in REFERENCE["cascade"]["sg_V"].items()),
    ],
)
def test_pins_stand_where_was_published_once_parts_have_burned(burned, pin, expected_V):
    """Signal ground and outlet at half load with one or two parts open."""
    hookup = Hookup.of(demo_circuit("cabinet"), demo_cable("mist-lead"), demo_circuit("vent"))
    for part in burned.split():
        hookup = hookup.without(part)
    points = hookup.solve(state_values(hookup.assembly, hookup.board, [State("half load")]))
    assert float(points.volts(pin)[0]) == pytest.approx(expected_V, abs=0.055)


@pytest.mark.parametrize("host", ["cabinet", "vent-nest"])
@pytest.mark.parametrize("board", ["vent", "mist"])
def test_a_swapped_pair_of_drives_runs_backwards(host, board):
    """On the long lead drive A pulls coil B and drive B coil A, and nothing burns."""
    found = demo_damage(host, "long-lead", board)
    assert found.harmless
    assert found.astray[:2] == (
        "drive at board pin 1 pulls host pin 3, not 1: it runs backwards",
        "drive at board pin 3 pulls host pin 1, not 3: it runs backwards",
    )


def test_a_flow_sensor_that_is_not_fed_is_told():
    """The mist on the vent's lead has signal ground where its 12 V should be, and its flow reading is gone."""
    found = demo_damage("cabinet", "vent-lead", "mist")
    assert found.harmless
    assert found.astray == (
        "board pin 4 (pos) stands 2.06 V above n0, not 4.88 V",
        "board pin 6 (acc) stands 2.37 V above n0, not 12.1 V",
    )


def test_a_pin_on_which_nothing_hangs_is_not_astray():
    """The nest's pin 6 is not connected: that the mist's lead brings signal ground there moves nothing."""
    found = demo_damage("vent-nest", "mist-lead", "vent")
    assert (found.stressed, found.astray, found.unsolved) == ((), (), ())


def test_without_the_right_cable_only_burning_is_told():
    """Nothing can be said to be astray without something to compare with; the pins are those of all wires it needs."""
    found = damage(demo_circuit("cabinet"), demo_cable("mist-lead"), demo_circuit("vent"), name="mist-lead")
    assert found.astray == ()
    assert found.stressed[0].part == "host.RACC"
    assert 6 in found.stressed[0].pins


def test_a_drive_that_reaches_nothing_is_told():
    """With its wire to the host gone a drive pulls no pin."""
    right = straight_cable([(1, 1), (2, 2), (3, 3)])
    wrong = straight_cable([(1, 1), (3, 3)])
    host = circuit("V1 v n0 5\nR1 v a 1k", "v a n0")
    found = damage(host, wrong, switching(), name="cut", right=right)
    assert found.astray == ("drive at board pin 2 pulls no host pin; it should pull 2", *found.astray[1:])


def test_a_drive_that_should_pull_nothing_is_told_when_it_does():
    """A drive that the right cable leaves unconnected pulls the pin it is led to."""
    right = straight_cable([(1, 1), (3, 3)])
    wrong = straight_cable([(1, 1), (2, 2), (3, 3)])
    host = circuit("V1 v n0 5\nR1 v a 1k", "v a n0")
    board = switching()
    netlist = circuit("RUPA v a 100k\n", "v a n0").netlist
    cards = (*board.netlist.cards, *netlist.cards)
    pulled_up = CircuitFile(board.name, type(netlist)("small", netlist.ports, cards, board.netlist.models), board.parts)
    found = damage(host, wrong, pulled_up, name="led", right=right)
    assert found.astray[0] == "drive at board pin 2 pulls host pin 2, not any"


def test_a_state_that_does_not_settle_is_never_harmless():
    """Two sources that fight over a pin leave every state unsolved, with this cable and with the right one."""
    host, board = circuit("V1 p n0 10\nR1 p n0 1k", "p n0"), circuit("V1 p q 5\nV2 q n0 4\nV3 p n0 1", "p n0")
    cable = straight_cable([(1, 1), (2, 2)])
    found = damage(host, cable, board, name="any", right=cable)
    assert found.stressed == ()
    assert found.unsolved == ("half load, drives off", "right cable: half load, drives off")
    assert found.nearest is None
    assert not found.harmless


@pytest.mark.parametrize(("loads", "deepest"), [(3, 3), (6, 4)], ids=["until-nothing-is-over", "at-most-four"])
def test_burning_goes_on_until_nothing_is_over_or_four_have_burned(loads, deepest):
    """Each of several fuses in a row of side-by-side resistors takes over when the one before has gone."""
    cards = "\n".join(f"R{number} p n0 {100 + 50 * number}" for number in range(loads))
    ratings = {f"R{number}": rating(power="1 W") for number in range(loads)}
    host = parts(f"V1 a n0 100\nRS a p 1\n{cards}", "p n0", **ratings)
    found = damage(host, straight_cable([(1, 1), (2, 2)]), circuit("R1 p n0 1Meg", "p n0"), name="any")
    first = [link for link in found.next if link.after[0] == "host.R0"]
    assert len(first) == deepest
    assert first[-1].after == tuple(f"host.R{number}" for number in range(deepest))


def test_parts_in_series_are_followed_once():
    """Whichever of two equal parts in a row burns first, the same is left."""
    host = parts("V1 a n0 100\nR1 a b 10\nR2 b p 10", "p n0", R1=rating(power="1 W"), R2=rating(power="1 W"))
    found = damage(host, straight_cable([(1, 1), (2, 2)]), circuit("R1 p n0 10", "p n0"), name="any")
    assert len(found.stressed) == 2
    assert [link.after for link in found.next] == [("host.R1",)]


def test_a_host_without_a_source_needs_a_feed():
    """The nest without the bench's supply is refused, not called harmless."""
    with pytest.raises(SetupError, match="nothing feeds vent-nest"):
        damage(demo_circuit("vent-nest"), demo_cable("vent-lead"), demo_circuit("vent"), name="vent-lead")


def test_a_cable_to_a_pin_that_is_not_there_is_refused():
    """The error of joining reaches the caller."""
    cable: CableFile = straight_cable([(1, 9)])
    with pytest.raises(SetupError, match="goes to pin 9 of cabinet"):
        damage(demo_circuit("cabinet"), cable, demo_circuit("vent"), name="any")
