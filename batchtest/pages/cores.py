"""A cable in words and colours, as a page says them: cores, pins with their names, the id resistor."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

from batchtest.cables.wiring import COLOURS, differences, goes_to
from batchtest.files.cable import CableFile
from batchtest.files.library import Library
from batchtest.quantities import write

#: Ink of each colour code. Own choice: near what a core looks like, and apart from each other on white paper.
_INKS = {
    "BK": "#1d1d1d",
    "BN": "#7a4a21",
    "RD": "#cf2e2e",
    "OG": "#f08a24",
    "YE": "#f4d51f",
    "GN": "#2f9a49",
    "BU": "#2f66c8",
    "VT": "#7d4bb3",
    "GY": "#9aa3ab",
    "WH": "#ffffff",
    "PK": "#f4a0bf",
    "GD": "#c9a227",
    "TQ": "#35c4c4",
    "SR": "#ced4d9",
}
#: For a core whose colour is not known.
_NO_INK = "#e6eaed"


@dataclass(frozen=True, slots=True)
class NamedCable:
    """A cable and the name of its file."""

    name: str
    cable: CableFile


@dataclass(frozen=True, slots=True)
class Ends:
    """Names of the pins of both connectors, pin 1 first; empty where they have none."""

    host: Sequence[str] = ()
    board: Sequence[str] = ()

    def host_pin(self, pin: int) -> str:
        """A pin with its name, such as "5 sg"."""
        return f"{pin} {pin_name(self.host, pin)}".rstrip()

    def board_pin(self, pin: int) -> str:
        """A pin with its name, such as "6 sg2"."""
        return f"{pin} {pin_name(self.board, pin)}".rstrip()


def ends_of(library: Library, hosts: Iterable[str], boards: Iterable[str]) -> Ends:
    """Names of the pins at both ends, by the first host and the first board that the library knows."""
    known = [library.hosts[name] for name in hosts if name in library.hosts][:1]
    fed = [library.boards[name] for name in boards if name in library.boards][:1]
    host, board = ([pin for one in circuit for pin in one.parts.connector.pins] for circuit in (known, fed))
    return Ends(host, board)


def pin_name(names: Sequence[str], pin: int) -> str:
    """Name of a pin, counted from 1; empty where it has none."""
    return names[pin - 1] if 1 <= pin <= len(names) else ""


def colour_word(code: str) -> str:
    """A colour code with its word; a code of two colours has both, an unknown one stays as it is.

    >>> colour_word("PK"), colour_word("WHBN"), colour_word("stripe")
    ('PK pink', 'WHBN white-and-brown', 'stripe')
    """
    words = COLOURS.get(code.upper()) or "-and-".join(COLOURS[part] for part in _parts(code))
    return f"{code} {words}" if words else code


def inks(code: str) -> tuple[str, ...]:
    """What a core is drawn in, base colour first; one neutral ink where its colour is not known."""
    return tuple(_INKS[part] for part in _parts(code)) or (_NO_INK,)


def colour_at(cable: CableFile, board_pin: int) -> str:
    """Colour code of the wire at a board pin; empty where there is none."""
    return next((wire.colour for wire in cable.wires if wire.board == board_pin), "")


def wire_in_words(known: NamedCable, board_pin: int, ends: Ends) -> str:
    """Where a cable leads a board pin, such as "vent-lead: board pin 6 sg2, PK pink, goes to host pin 5 sg"."""
    hosts = goes_to(known.cable).get(board_pin, ())
    if not hosts:
        return f"{known.name}: board pin {ends.board_pin(board_pin)} has no wire"
    code = colour_word(colour_at(known.cable, board_pin))
    to = " and ".join(ends.host_pin(host) for host in hosts)
    return f"{known.name}: board pin {ends.board_pin(board_pin)}, {code}, goes to host pin {to}"


def differing_wires(one: NamedCable, other: NamedCable, ends: Ends) -> Iterator[tuple[str, str]]:
    """Each board pin in which two cables differ, with its colour, and where each leads it."""
    ours, theirs = goes_to(one.cable), goes_to(other.cable)
    for difference in differences(one.cable, other.cable):
        pin = difference.board_pin
        to = [", ".join(ends.host_pin(host) for host in pins.get(pin, ())) or "none" for pins in (ours, theirs)]
        what = f"board pin {ends.board_pin(pin)}, {colour_word(difference.colour)}"
        yield what, f"{one.name} to host pin {to[0]}, {other.name} to host pin {to[1]}"


def id_words(cable: CableFile) -> str:
    """A cable's id resistor, such as "1 kohm, 1 %, between host pins 8 and 7", or "none"."""
    resistor = cable.id_resistor
    if resistor is None:
        return "none"
    one, other = resistor.pins
    return f"{write(resistor.value, 'ohm')}, {write(resistor.tolerance, '%')}, between host pins {one} and {other}"


def _parts(code: str) -> list[str]:
    """The colours that a code is made of; empty where one of them is not known."""
    letters = code.upper().replace("/", "").replace("-", "")
    parts = [letters[at : at + 2] for at in range(0, len(letters), 2)]
    return parts if all(part in COLOURS for part in parts) else []
