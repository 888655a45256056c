"""Wiring faults that no reading sees: all of them and no other, what they do, and what would show them."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import pytest
from test_circuits.demo import circuit, straight_cable

from batchtest.cables.apart import APART
from batchtest.cables.blind import ASYMMETRY_OHM, Blind, blind_faults
from batchtest.cables.hookup import Feed
from batchtest.cables.readings import ColdBench, ColdCircuit, Harness
from batchtest.cables.report import feed_of
from batchtest.cables.wiring import wiring_faults
from batchtest.errors import NoOperatingPoint
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile, Part
from batchtest.files.library import Library, load_bench
from test_cables.bench_views import ROOT, bare_fixture, library, lies_inside, read_with, setup, suspects, vent_faults

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

FEED = Feed("host.2", "host.7", 12.0, 1.0)
PORTS = "ka p24 kb pos sg acc n0 id"


@cache
def vent_blind() -> Mapping[str, Blind]:
    """What the vent's nest does not see inside its lead."""
    demo, found = library(), suspects()
    feed = feed_of(demo.fixtures["vent-nest"], setup().bench)
    harness = replace(found.harness, drawn=6)
    return {one.fault: one for one in blind_faults(demo, harness, "vent-nest", feed)}


def test_the_swapped_pair_of_drives_is_listed_with_harm_and_cure():
    """It runs the vent backwards; a person's continuity check or 22 kohm at one drive line would show it by 10 U."""
    found = vent_blind()["WH and GN are swapped"]
    assert (found.fixture, found.board, found.cable) == ("vent-nest", "vent", "vent-lead")
    assert "drive at board pin 1 pulls host pin 3, not 1: it runs backwards" in found.harm
    cure = re.fullmatch(
        r"check the continuity of WH and GN from end to end before the cable is first used, "
        r"or fit 22 kohm on the board from pin 1 to pin 7: it tells them by (\d+) U",
        found.cure,
    )
    assert cure is not None
    assert float(cure[1]) >= APART
    assert ASYMMETRY_OHM == 22e3


def test_exactly_those_are_listed_that_other_boards_do_not_show():
    """Each fault with a board of its own: seen where it is not listed, unseen where it is."""
    pins = suspects().signature.readings
    for fault in vent_faults():
        readings = read_with(fault)
        unseen = all(lies_inside(pin, readings[pin.name]) for pin in pins)
        assert unseen == (fault in vent_blind()), fault


def test_what_does_no_harm_needs_no_cure():
    """One of two wires to signal ground cut is made up for by the other."""
    harmless = [one for one in vent_blind().values() if not one.harm]
    assert "PK is cut" in [one.fault for one in harmless]
    assert all(one.cure == "" for one in harmless)
    assert all(one.cure for one in vent_blind().values() if one.harm)


def rated(small: CircuitFile, **ratings: str) -> CircuitFile:
    """A circuit with power ratings at some parts."""
    part = {name: Part.model_validate({"role": "part", "rating": {"power": power}}) for name, power in ratings.items()}
    return replace(small, parts=small.parts.model_copy(update={"part": part}))


#: A rack that the meter hardly sees into: pin 1 feeds, pin 3 is a bus of 24 V, pin 7 the return.
RACK = circuit("RC ka n0 10Meg\nRP p24 n0 10Meg\nRB kb n0 10Meg\nRI id n0 10Meg", PORTS)
LAMP = rated(circuit("RL p24 n0 100\nRA ka n0 10Meg\nRB kb n0 10Meg", PORTS), RL="2 W")
LEAD = straight_cable([(1, 1), (2, 2), (7, 7)])


def coloured(cable: CableFile) -> CableFile:
    """Each wire with its own name."""
    wires = tuple(wire.model_copy(update={"colour": f"W{wire.board}"}) for wire in cable.wires)
    return cable.model_copy(update={"wires": wires})


def small_library(host: CircuitFile, board: CircuitFile, cable: CableFile) -> Library:
    """One cable that is plugged into one host."""
    known = coloured(cable).model_copy(update={"hosts": ("rack",)})
    return Library({"lead": known}, {"lamp": board}, {"rack": host}, {})


def found_blind(
    host: CircuitFile, board: CircuitFile, cable: CableFile, points: Mapping[str, tuple[int, int]]
) -> dict[str, Blind]:
    """The faults that a fixture does not see, whose circuit is the host without what feeds it."""
    fixture = bare_fixture(points, cable="lead", contact_limit="0.1 ohm")
    harness = Harness(RACK, board, ColdBench(load_bench(ROOT, "simulated"), fixture), 3)
    return {one.fault: one for one in blind_faults(small_library(host, board, cable), harness, "nest", FEED)}


def test_a_wire_that_touches_another_is_not_found_by_its_own_continuity():
    """From end to end it is whole; that it goes nowhere else is what must be checked."""
    host = rated(circuit("V1 hot n0 24\nR1 hot ka 1\nRS p24 n0 1", PORTS), R1="1 W")
    found = found_blind(host, LAMP, LEAD, {})
    touching = found["W1 and W2 touch"]
    assert touching.harm.startswith("small R1 bears ")
    assert touching.cure == "check that W1 touches no other wire before the cable is first used"


def test_an_asymmetry_that_no_point_sees_is_no_cure():
    """Where the meter reaches neither of two swapped lines, 22 kohm at one of them would show nothing."""
    host = circuit("V1 ka n0 24\nRB kb n0 100\nRS p24 n0 1k", PORTS)
    lamp = rated(circuit("RL p24 n0 10k\nRA ka n0 10k\nRB kb n0 10k", PORTS), RB="10 mW")
    swapped = found_blind(host, lamp, straight_cable([(1, 1), (2, 2), (3, 3), (7, 7)]), {})["W1 and W3 are swapped"]
    assert swapped.harm == "small RB bears 5.8 times its power rating at small"
    assert swapped.cure == "check the continuity of W1 and W3 from end to end before the cable is first used"


def test_a_part_of_the_board_that_suffers_is_named_with_the_host():
    """A moved wire brings 24 V into the lamp, which bears it, and the rack is told as where."""
    host = circuit("V1 kb n0 24\nR1 ka n0 1k\nRS p24 n0 1k", PORTS)
    lamp = rated(circuit("RL p24 n0 100\nRK kb p24 1", PORTS), RL="2 W")
    moved = found_blind(host, lamp, straight_cable([(2, 2), (3, 4), (7, 7)]), {})["W3 goes to host pin 3, not 4"]
    assert moved.harm == "small RL bears 2.8 times its power rating at small"
    assert moved.cure == "check the continuity of W3 from end to end before the cable is first used"


@dataclass(frozen=True)
class Unsolvable(Harness):
    """A harness in which no faulty cable has an operating point."""

    def once(self, cable: CableFile, fault: str = "", near: ColdCircuit | None = None) -> ColdCircuit:
        """Never."""
        raise NoOperatingPoint("no operating point for sample 0: host.n0 would not settle")


def test_a_fault_without_an_operating_point_counts_as_unseen():
    """What was not solved shows nothing, and does not end the report."""
    cold = ColdBench(load_bench(ROOT, "simulated"), bare_fixture({}, cable="lead"))
    host = circuit("V1 p24 n0 12\nRK ka n0 1k", PORTS)
    found = list(blind_faults(small_library(host, LAMP, LEAD), Unsolvable(RACK, LAMP, cold, 3), "nest", FEED))
    assert len(found) == len(list(wiring_faults(LEAD, 8)))


def test_what_is_not_solved_is_harm():
    """A fault that leaves no operating point with the power on is not called harmless."""
    host = circuit("V1 p24 n0 12\nV2 p24 x 5\nV3 p24 x 4\nRX x n0 1k", PORTS)
    cold = ColdBench(load_bench(ROOT, "simulated"), bare_fixture({}, cable="lead"))
    found = next(blind_faults(small_library(host, LAMP, LEAD), Harness(RACK, LAMP, cold, 3), "nest", FEED))
    assert found.harm == "small: not solved"
