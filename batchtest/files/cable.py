"""A cable of the library: `fixtures/cables/<name>.toml` as frozen values. The pin is the truth, the colour a label."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import Field, StrictStr

from batchtest.files.fields import Channel, Name, Ohms, OhmsPerMetre, PositiveOhms, Ratio, Table, UnsignedMetres, Wrong
from batchtest.files.matings import Matings


class Wire(Table):
    """One core: a pin at the board end, a pin at the host end, and the colour of its insulation."""

    board: Channel
    host: Channel
    colour: StrictStr


class IdResistor(Table):
    """The resistor in the hood at the host end by which a cable is known; it is seen between two host pins."""

    value: PositiveOhms
    tolerance: Ratio
    pins: tuple[Channel, Channel]

    def own_faults(self) -> Iterator[Wrong]:
        """A resistor with both ends on one pin."""
        if self.pins[0] == self.pins[1]:
            yield ("pins",), f"are both {self.pins[0]}; a resistor lies between two pins, such as [8, 7]"


class CableFile(Table):
    """A lead between board and host: which pin goes where, and what its wires and contacts cost. Its name is its id.

    `takes` are boards, `hosts` the circuits it may be plugged into besides the fixtures that name it.
    """

    takes: tuple[Name, ...] = Field(min_length=1)
    hosts: tuple[Name, ...] = ()
    owner: StrictStr | None = None
    revision: StrictStr = ""
    matings: Matings | None = None
    length: UnsignedMetres
    per_metre: OhmsPerMetre
    contact: Ohms
    id_resistor: IdResistor | None = None
    wires: tuple[Wire, ...] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """Two wires on one board pin."""
        seen: set[int] = set()
        for index, wire in enumerate(self.wires):
            if wire.board in seen:
                yield ("wires", index, "board"), f"pin {wire.board} has a wire already; a board pin takes one wire"
            seen.add(wire.board)
