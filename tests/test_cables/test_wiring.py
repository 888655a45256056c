"""Where wires go, in which wires cables differ, and everything that may be wrong with a single one."""

from __future__ import annotations

from collections import Counter

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_circuits.demo import demo_cable, straight_cable

from batchtest.cables.wiring import COLOURS, Difference, differences, goes_to, in_words, wiring_faults
from batchtest.files.cable import CableFile

PINS = st.integers(1, 8)
#: Board pin -> host pin, as a cable's file has them: a board pin takes one wire, a host pin may take more.
CABLES = st.dictionaries(PINS, PINS, min_size=1, max_size=8).map(lambda pins: straight_cable(list(pins.items())))


def with_colours(wires: dict[int, tuple[int, str]]) -> CableFile:
    """A cable: board pin -> host pin and colour."""
    cable = straight_cable([(board, host) for board, (host, _) in wires.items()])
    coloured = tuple(wire.model_copy(update={"colour": wires[wire.board][1]}) for wire in cable.wires)
    return cable.model_copy(update={"wires": coloured})


def test_the_wire_in_which_the_demos_look_alikes_differ():
    """The accident's wire is named by colour, both pins, and where it should go."""
    (only,) = differences(demo_cable("vent-lead"), demo_cable("mist-lead"))
    assert only == Difference(6, right=(5,), wrong=(6,), colour="PK")
    sentence = "its pink wire (PK), board pin 6, goes to host pin 6, not 5"
    assert only.in_words() == in_words(demo_cable("vent-lead"), demo_cable("mist-lead")) == sentence


def test_a_swapped_pair_is_two_differences():
    """Both wires of the long lead that changed places are named, in the order of their board pins."""
    assert in_words(demo_cable("vent-lead"), demo_cable("long-lead")) == (
        "its white wire (WH), board pin 1, goes to host pin 3, not 1; "
        "its green wire (GN), board pin 3, goes to host pin 1, not 3"
    )


def test_cables_that_differ_in_length_alone_are_wired_alike():
    """Copper and id resistor are no wire."""
    vent = demo_cable("vent-lead")
    other = vent.model_copy(update={"id_resistor": None, "length": vent.length * 3})
    assert differences(vent, other) == ()
    assert in_words(vent, other) == "every wire goes where it should"


@pytest.mark.parametrize(
    ("right", "other", "sentence"),
    [
        pytest.param(
            {1: (1, "WH"), 2: (2, "BN")},
            {1: (1, "WH")},
            "its brown wire (BN), board pin 2, goes nowhere, not to host pin 2",
            id="missing",
        ),
        pytest.param(
            {1: (1, "WH")},
            {1: (1, "WH"), 2: (2, "BN")},
            "its brown wire (BN), board pin 2, goes to host pin 2; there should be none",
            id="added",
        ),
        pytest.param(
            {1: (1, "WH")}, {1: (2, "gnye")},
            "its green-and-yellow wire (gnye), board pin 1, goes to host pin 2, not 1",
            id="the-others-colour",
        ),
        pytest.param(
            {1: (1, "WH")}, {1: (2, "stripe")}, "its wire stripe, board pin 1, goes to host pin 2, not 1",
            id="no-colour-code",
        ),
    ],
)  # fmt: skip
def test_a_difference_says_which_wire_and_where_to(right, other, sentence):
    """Wires that are missing or too many are told as such; the colour is that of the cable in hand."""
    assert in_words(with_colours(right), with_colours(other)) == sentence


def test_two_cores_on_a_pin_are_both_named():
    """A wire that touches another goes to both their host pins."""
    cable = with_colours({1: (1, "WH"), 2: (2, "BN")})
    touching = next(fault for fault in wiring_faults(cable, 2) if fault.what == "WH and BN touch")
    assert differences(cable, touching.cable) == (Difference(1, (1,), (1, 2), "WH"),)
    assert in_words(touching.cable, cable) == "its white wire (WH), board pin 1, goes to host pin 1, not 1 and 2"
    assert differences(touching.cable, cable)[0].in_words().endswith("not 1 and 2")


def test_colour_codes_are_those_of_the_standard():
    """IEC 60757:1983, the letter codes of single colours and green-and-yellow (from memory of the standard's table)."""
    codes = "BK BN RD OG YE GN BU VT GY WH PK GD TQ SR GNYE"
    assert set(COLOURS) == set(codes.split())
    assert COLOURS["PK"] == "pink"
    assert COLOURS["TQ"] == "turquoise"


@settings(deadline=None)
@given(CABLES)
def test_no_cable_differs_from_itself(cable: CableFile):
    """Nor from one with its wires written in another order."""
    backwards = cable.model_copy(update={"wires": cable.wires[::-1]})
    assert differences(cable, cable) == differences(cable, backwards) == ()


@settings(deadline=None)
@given(CABLES, CABLES)
def test_cables_differ_where_their_wires_go_and_only_there(one: CableFile, other: CableFile):
    """No difference means the same pins; each difference holds what both cables do at that pin, whichever is right."""
    found = differences(one, other)
    assert (found == ()) == (goes_to(one) == goes_to(other))
    assert [(each.board_pin, each.right, each.wrong) for each in found] == [
        (each.board_pin, each.wrong, each.right) for each in differences(other, one)
    ]
    for each in found:
        assert (each.right, each.wrong) == (
            goes_to(one).get(each.board_pin, ()),
            goes_to(other).get(each.board_pin, ()),
        )


@settings(deadline=None)
@given(CABLES)
def test_every_wiring_fault_changes_the_cable_and_has_a_name_of_its_own(cable: CableFile):
    """A fault that changed nothing would be blamed for everything; two of one name could not be told apart."""
    named = cable.model_copy(
        update={"wires": tuple(wire.model_copy(update={"colour": f"W{wire.board}"}) for wire in cable.wires)}
    )
    found = list(wiring_faults(named, 8))
    assert all(differences(named, fault.cable) for fault in found)
    assert max(Counter(fault.what for fault in found).values()) == 1


@settings(deadline=None)
@given(CABLES)
def test_only_a_cut_wire_is_open(cable: CableFile):
    """Every wire can be cut, and led to each of the other seven pins; every two at unlike host pins swap and touch."""
    wires, found = len(cable.wires), list(wiring_faults(cable, 8))
    hosts = Counter(wire.host for wire in cable.wires)
    pairs = (wires**2 - sum(count**2 for count in hosts.values())) // 2
    assert [fault.open for fault in found] == [True] * wires + [False] * (len(found) - wires)
    assert len(found) == wires + 7 * wires + 2 * pairs
    assert all(len(fault.cable.wires) == wires - 1 for fault in found[:wires])


def test_faults_of_the_vent_lead_are_what_their_names_say():
    """One of each kind."""
    vent = demo_cable("vent-lead")
    found = {fault.what: goes_to(fault.cable) for fault in wiring_faults(vent, 8)}
    right = goes_to(vent)
    assert found["PK is cut"] == {pin: hosts for pin, hosts in right.items() if pin != 6}
    assert found["WH and GN are swapped"] == {**right, 1: (3,), 3: (1,)} == goes_to(demo_cable("long-lead"))
    assert found["PK goes to host pin 6, not 5"] == {**right, 6: (6,)} == goes_to(demo_cable("mist-lead"))
    assert found["WH and BU touch"] == {**right, 1: (1, 7)}
    assert "GY and PK are swapped" not in found
