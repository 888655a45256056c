"""Where the wires of cables go, in which wires two cables differ, and what may be wrong inside one.

A pin is the truth, a colour only the label on a core.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from itertools import combinations

from batchtest.files.cable import CableFile, Wire

#: Colour codes of IEC 60757:1983 in words.
COLOURS = {
    "BK": "black",
    "BN": "brown",
    "RD": "red",
    "OG": "orange",
    "YE": "yellow",
    "GN": "green",
    "BU": "blue",
    "VT": "violet",
    "GY": "grey",
    "WH": "white",
    "PK": "pink",
    "GD": "gold",
    "TQ": "turquoise",
    "SR": "silver",
    "GNYE": "green-and-yellow",
}


@dataclass(frozen=True, slots=True)
class Difference:
    """One board pin that two cables lead to different host pins: by the right one, and by the other; () is nowhere."""

    board_pin: int
    right: tuple[int, ...]
    wrong: tuple[int, ...]
    colour: str

    def in_words(self) -> str:
        """Such as "its pink wire (PK), board pin 6, goes to host pin 6, not 5"."""
        if not self.wrong:
            return f"{self._wire}, board pin {self.board_pin}, goes nowhere, not to {_pins(self.right)}"
        if not self.right:
            return f"{self._wire}, board pin {self.board_pin}, goes to {_pins(self.wrong)}; there should be none"
        instead = " and ".join(map(str, self.right))
        return f"{self._wire}, board pin {self.board_pin}, goes to {_pins(self.wrong)}, not {instead}"

    @property
    def _wire(self) -> str:
        word = COLOURS.get(self.colour.upper())
        return f"its {word} wire ({self.colour})" if word else f"its wire {self.colour}"


@dataclass(frozen=True, slots=True)
class WiringFault:
    """Something wrong inside a cable: what, in words, and the cable as it then is. `open` where only a wire is cut."""

    what: str
    cable: CableFile
    open: bool = False


def goes_to(cable: CableFile) -> Mapping[int, tuple[int, ...]]:
    """Board pin -> the host pins that it leads to, both rising."""
    found: dict[int, tuple[int, ...]] = {}
    for wire in sorted(cable.wires, key=lambda wire: (wire.board, wire.host)):
        found[wire.board] = (*found.get(wire.board, ()), wire.host)
    return found


def differences(right: CableFile, other: CableFile) -> tuple[Difference, ...]:
    """The board pins in which another cable differs from the right one, rising; the colours are the other's."""
    ours, theirs = goes_to(right), goes_to(other)
    colours = {wire.board: wire.colour for cable in (right, other) for wire in cable.wires}
    return tuple(
        Difference(pin, ours.get(pin, ()), theirs.get(pin, ()), colours[pin])
        for pin in sorted({*ours, *theirs})
        if ours.get(pin, ()) != theirs.get(pin, ())
    )


def in_words(right: CableFile, other: CableFile) -> str:
    """All differences in one clause; what else differs where the wires do not."""
    found = differences(right, other)
    if found:
        return "; ".join(difference.in_words() for difference in found)
    return "every wire goes where it should"


def wiring_faults(cable: CableFile, host_pins: int) -> Iterator[WiringFault]:
    """Every single wire cut, two swapped at the host end, one led to another host pin, two that touch.

    Parameters
    ----------
    host_pins : how many pins the host's connector has.
    """
    for wire in cable.wires:
        yield WiringFault(f"{wire.colour} is cut", _without(cable, wire), open=True)
    for one, other in combinations(cable.wires, 2):
        if one.host != other.host:
            yield WiringFault(f"{one.colour} and {other.colour} are swapped", _swapped(cable, one, other))
    for wire in cable.wires:
        for pin in range(1, host_pins + 1):
            if pin != wire.host:
                moved = wire.model_copy(update={"host": pin})
                what = f"{wire.colour} goes to host pin {pin}, not {wire.host}"
                yield WiringFault(what, _replaced(cable, {wire.board: moved}))
    for one, other in combinations(cable.wires, 2):
        if one.host != other.host:
            yield WiringFault(f"{one.colour} and {other.colour} touch", _touching(cable, one, other))


def _without(cable: CableFile, wire: Wire) -> CableFile:
    return cable.model_copy(update={"wires": tuple(one for one in cable.wires if one is not wire)})


def _swapped(cable: CableFile, one: Wire, other: Wire) -> CableFile:
    changed = {
        one.board: one.model_copy(update={"host": other.host}),
        other.board: other.model_copy(update={"host": one.host}),
    }
    return _replaced(cable, changed)


def _touching(cable: CableFile, one: Wire, other: Wire) -> CableFile:
    return cable.model_copy(update={"wires": (*cable.wires, one.model_copy(update={"host": other.host}))})


def _replaced(cable: CableFile, changed: Mapping[int, Wire]) -> CableFile:
    return cable.model_copy(update={"wires": tuple(changed.get(wire.board, wire) for wire in cable.wires)})


def _pins(pins: tuple[int, ...]) -> str:
    return f"host pin{'s' if len(pins) > 1 else ''} {' and '.join(map(str, pins))}"
