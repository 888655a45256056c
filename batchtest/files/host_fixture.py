"""How a host is reached with nothing mated to it: `fixtures/hosts/<name>.toml` as frozen values.

A break-out plug brings the pins of the host's connector to the scanner. There is no board, no cable and no supply: the
host feeds itself.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from decimal import Decimal
from typing import Literal, cast

from pydantic import Field, StrictStr

from batchtest.files.fields import Name, PositiveOhms, PositiveVolts, Ratio, Table, Terminals, Wrong
from batchtest.files.fixture import Discharge, Point, load_faults, scanner_faults
from batchtest.files.serials import serial_pattern_faults

_PIN = re.compile(r"host\.([1-9][0-9]{0,3})")
_HARNESS = re.compile(r"pins ([1-9][0-9]{0,3})-([1-9][0-9]{0,3}) (swapped|joined)")


class HostMains(Table):
    """What a host is fed by, for the caution, and how far that may be off: +- of its voltage."""

    voltage: PositiveVolts
    within: Ratio


class HostDischarge(Discharge):
    """A scanner channel that puts a resistor across two pins of the host, "host.2-host.7", once it is off."""

    across: Terminals


class HostFixtureFile(Table):
    """The break-out plug of a host: its circuit, what serials look like, its mains, and every pin as a point."""

    host: Name
    revision: StrictStr
    serials: StrictStr
    mains: HostMains
    contact_limit: PositiveOhms = Decimal(5)
    discharge: HostDischarge | None = None
    points: dict[Name, Point] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """A serial pattern that is not safe, terminals that are no pins, channels used twice, a discharge nowhere."""
        yield from ((("serials",), message) for message in serial_pattern_faults(self.serials))
        yield from self._terminal_faults()
        yield from scanner_faults(self)
        yield from load_faults(self)
        across = [f"{point.plus}-{point.minus}" for point in self.points.values()]
        if self.discharge is not None and self.discharge.across not in across:
            wrong = f"no point lies across {self.discharge.across!r}; write the plus and minus of one"
            yield ("discharge", "across"), f"{wrong}: {', '.join(across)}"

    def _terminal_faults(self) -> Iterator[Wrong]:
        for name, point in self.points.items():
            for end, terminal in (("plus", point.plus), ("minus", point.minus)):
                if _PIN.fullmatch(terminal) is None:
                    wrong = f"{terminal!r} is no pin of a host; nothing is mated to it, write such as 'host.2'"
                    yield ("points", name, end), wrong


@dataclass(frozen=True, slots=True)
class HarnessFault:
    """Two pins that a host's harness, or the break-out plug, swaps or joins."""

    pins: tuple[int, int]
    kind: Literal["swapped", "joined"]


def pin_of(terminal: str) -> int:
    """The pin of a terminal: 2 for "host.2"; a host fixture has no other terminals."""
    match = _PIN.fullmatch(terminal)
    assert match is not None, "the loader refuses every other terminal"
    return int(match[1])


def harness_fault(text: str) -> HarnessFault | None:
    """Read "pins 5-7 swapped" or "pins 8-2 joined"; `None` for anything else, such as the fault of a part."""
    match = _HARNESS.fullmatch(text)
    if match is None:
        return None
    return HarnessFault((int(match[1]), int(match[2])), cast(Literal["swapped", "joined"], match[3]))
