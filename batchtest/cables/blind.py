"""Wiring faults inside a cable of the right id that no reading of the gate sees, and what would show them."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from batchtest.cables.apart import APART, compare
from batchtest.cables.damage import Damage, damage
from batchtest.cables.hookup import Feed
from batchtest.cables.readings import Harness
from batchtest.cables.signature import Signature, sign, within
from batchtest.cables.wiring import Difference, WiringFault, differences, goes_to, wiring_faults
from batchtest.errors import NoOperatingPoint
from batchtest.files.cable import CableFile
from batchtest.files.circuit import Card, CircuitFile
from batchtest.files.library import Library

#: The resistor that makes two lines of a board unlike each other, ohm.
ASYMMETRY_OHM = 22e3


@dataclass(frozen=True, slots=True)
class Blind:
    """A wiring fault that stays unseen.

    Parameters
    ----------
    fault : such as "WH and GN are swapped".
    harm : what it burns or lets run backwards, in words; "" where it does neither.
    cure : what would show it; "" where it does no harm.
    """

    fixture: str
    board: str
    cable: str
    fault: str
    harm: str
    cure: str


def blind_faults(library: Library, harness: Harness, fixture: str, feed: Feed) -> Iterator[Blind]:
    """The faults inside the fixture's cable that leave every reading of the gate inside its window.

    Parameters
    ----------
    harness : the fixture with one board.
    fixture : its name.
    feed : the bench's supply at it.
    """
    name = harness.cold.fixture.cable
    cable = library.cables[name]
    signature = sign(harness, library.cables, name)
    for fault in wiring_faults(cable, len(harness.host.netlist.ports)):
        if _seen(harness, signature, fault):
            continue
        harm = _harm(library, harness, fault, feed)
        cure = _cure(harness, cable, fault) if harm else ""
        yield Blind(fixture, harness.board.name, name, fault.what, harm, cure)


def _seen(harness: Harness, signature: Signature, fault: WiringFault) -> bool:
    """Whether some reading is out of its window; a circuit without an operating point shows nothing."""
    try:
        circuit = harness.once(fault.cable).solve(pin.reading for pin in signature.readings)
    except NoOperatingPoint:
        return False
    return not all(within(pin.limit, circuit.expected(pin.reading)) for pin in signature.readings)


def _harm(library: Library, harness: Harness, fault: WiringFault, feed: Feed) -> str:
    """What the fault does in the fixture and in the cable's own hosts."""
    name = harness.cold.fixture.cable
    right = library.cables[name]
    said = []
    places = [(harness.host, feed), *((library.hosts[host], None) for host in right.hosts)]
    for host, fed in places:
        found = damage(host, fault.cable, harness.board, name=name, right=right, feed=fed, deep=False)
        said += list(_said(host, found))
    return "; ".join(dict.fromkeys(said))


def _said(host: CircuitFile, found: Damage) -> Iterator[str]:
    if found.stressed:
        worst = found.stressed[0]
        part = worst.part.replace("host.", f"{host.name} ").replace("board.", f"{found.board} ")
        at = "" if worst.part.startswith("host.") else f" at {host.name}"
        yield f"{part} bears {worst.ratio:.1f} times its {worst.quantity} rating{at}"
    if found.unsolved:
        yield f"{host.name}: not solved"
    yield from (said for said in found.astray if "backwards" in said)


def _cure(harness: Harness, cable: CableFile, fault: WiringFault) -> str:
    """Continuity at both ends, which a person can always do; or two lines made unlike, where that tells them."""
    changed = differences(cable, fault.cable)
    cure = f"{_by_hand(cable, changed)} before the cable is first used"
    pin, ground = changed[0].board_pin, _ground_pin(harness, cable)
    if ground is None or pin == ground or len(changed) != 2:
        return cure
    distance = _made_unlike(harness, cable, fault, (pin, ground))
    if distance < APART:
        return cure
    return (
        f"{cure}, or fit {ASYMMETRY_OHM / 1000:.0f} kohm on the board from pin {pin} to pin {ground}: "
        f"it tells them by {distance:.0f} U"
    )


def _by_hand(cable: CableFile, changed: Sequence[Difference]) -> str:
    """What a person checks: that wires go where they should, or that one that touches another goes nowhere else."""
    wires = " and ".join(wire.colour for wire in cable.wires if wire.board in [one.board_pin for one in changed])
    if any(len(one.wrong) > 1 for one in changed):
        return f"check that {wires} touches no other wire"
    return f"check the continuity of {wires} from end to end"


def _ground_pin(harness: Harness, cable: CableFile) -> int | None:
    """The board pin that leads to the host's n0."""
    n0 = harness.host.netlist.ports.index("n0") + 1
    return next((board for board, hosts in goes_to(cable).items() if n0 in hosts), None)


def _made_unlike(harness: Harness, cable: CableFile, fault: WiringFault, pins: tuple[int, int]) -> float:
    """By how many expanded uncertainties the fault shows with a resistor between two pins of the board."""
    ports = harness.board.netlist.ports
    card = Card("RASYM", "R", (ports[pins[0] - 1], ports[pins[1] - 1]), ASYMMETRY_OHM, None, 0)
    netlist = replace(harness.board.netlist, cards=(*harness.board.netlist.cards, card))
    unlike = Harness(harness.host, replace(harness.board, netlist=netlist), harness.cold, harness.drawn)
    return compare(unlike, ("right", cable), ("wrong", fault.cable))[0].distance
