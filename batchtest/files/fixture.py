"""What holds a board and how it is reached: `fixtures/<name>.toml` as frozen values."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Literal, Protocol

from pydantic import Field, StrictStr

from batchtest.errors import nearest
from batchtest.files.fields import Channel, Name, PositiveOhms, PositiveVolts, Seconds, Table, Terminals, Wrong
from batchtest.files.matings import Matings
from batchtest.files.positions import Key, show_key
from batchtest.quantities import write


class Point(Table):
    """A named pair of terminals that the meter reaches through one scanner channel.

    `plus` and `minus` name test points of the board ("TP3") or pins of the cable's host end ("host.6"). `contact` are
    two scanner channels that put the meter between the two needles (or wires) on `plus`, and on `minus`: a few tenths
    of an ohm prove that both touch. `load` is the load channel that can draw from this point.
    """

    plus: StrictStr
    minus: StrictStr
    scanner: Channel
    contact: tuple[Channel, Channel]
    load: Channel | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Both terminals the same."""
        if self.plus == self.minus:
            yield ("minus",), f"is {self.minus!r} like plus; a voltage needs two terminals"


class Discharge(Table):
    """A scanner channel that puts a resistor across the point where power goes in."""

    scanner: Channel
    resistor: PositiveOhms


class Power(Table):
    """Where power goes in, "host.2-host.7", and the voltages of the soft start, rising to the full one."""

    source: Literal["supply"] = Field(alias="from")
    into: Terminals
    soft_start: tuple[PositiveVolts, ...] = Field(min_length=1)
    inrush: Seconds = Decimal("0.2")

    def own_faults(self) -> Iterator[Wrong]:
        """Steps that do not rise."""
        for index, (before, volts) in enumerate(pairwise(self.soft_start), start=1):
            if volts <= before:
                wrong = (
                    f"{write(volts, 'V')} does not rise above {write(before, 'V')} before it; sort the steps upwards"
                )
                yield ("soft_start", index), wrong


class Reached(Protocol):
    """Points that the meter reaches, whatever they lie on: a board in its nest, or the pins of a host."""

    @property
    def contact_limit(self) -> Decimal:
        """Two needles on one terminal agree within this, ohm."""
        ...

    @property
    def discharge(self) -> Discharge | None:
        """The discharge resistor, where there is one."""
        ...

    @property
    def points(self) -> dict[str, Point]:
        """The points, by name."""
        ...


class FixtureFile(Table):
    """A fixture: which boards it takes, by which cable, with what circuit in place of the host.

    `identify` names the point at which the cable's id resistor is read; a cable without one is told by other readings.
    `matings` are of its needles: one for each board that is placed.
    """

    takes: tuple[Name, ...] = Field(min_length=1)
    cable: Name
    circuit: Name
    revision: StrictStr = ""
    matings: Matings | None = None
    identify: Name | None = None
    contact_limit: PositiveOhms = Decimal(5)
    discharge: Discharge
    power: Power
    points: dict[Name, Point] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """What the tables of a fixture say against each other."""
        yield from _point_faults(self)
        yield from scanner_faults(self)
        yield from load_faults(self)


def input_point(fixture: FixtureFile) -> str:
    """Name of the point that lies across the terminals where power goes in; a fixture without one was refused."""
    return next(name for name, point in fixture.points.items() if f"{point.plus}-{point.minus}" == fixture.power.into)


def distinct_points(fixture: Reached) -> list[str]:
    """The points without those that only swap plus and minus of one before: a voltage is read one way round."""
    seen: set[frozenset[str]] = set()
    found = []
    for name, point in fixture.points.items():
        ends = frozenset((point.plus, point.minus))
        if ends not in seen:
            found.append(name)
        seen.add(ends)
    return found


def scanner_uses(fixture: Reached) -> Iterator[tuple[Key, int, Key]]:
    """Every use of a scanner channel in a fixture.

    Yields the key where it is written, the channel, and what it is used for: points that share a terminal may share the
    contact channel on it, so for contacts that is the terminal.
    """
    if fixture.discharge is not None:
        yield ("discharge", "scanner"), fixture.discharge.scanner, ("discharge",)
    for name, point in fixture.points.items():
        at: Key = ("points", name)
        yield (*at, "scanner"), point.scanner, at
        yield (*at, "contact", 0), point.contact[0], ("contact", point.plus)
        yield (*at, "contact", 1), point.contact[1], ("contact", point.minus)


def _point_faults(fixture: FixtureFile) -> Iterator[Wrong]:
    if fixture.identify is not None and fixture.identify not in fixture.points:
        yield (
            ("identify",),
            f"there is no point {fixture.identify!r}; {nearest(fixture.identify, list(fixture.points))}",
        )
    across = [f"{point.plus}-{point.minus}" for point in fixture.points.values()]
    if fixture.power.into not in across:
        wrong = f"no point lies across {fixture.power.into!r}; write the plus and minus of one: {', '.join(across)}"
        yield ("power", "into"), wrong


def scanner_faults(fixture: Reached) -> Iterator[Wrong]:
    """Channels of the scanner that are used for two things."""
    seen: dict[int, tuple[Key, Key]] = {}
    for key, channel, use in scanner_uses(fixture):
        first_key, first_use = seen.setdefault(channel, (key, use))
        if use != first_use:
            yield key, f"channel {channel} is used by {show_key(first_key)} already; give each its own"


def load_faults(fixture: Reached) -> Iterator[Wrong]:
    """Channels of the load at two points."""
    seen: dict[int, str] = {}
    for name, point in fixture.points.items():
        if point.load is None:
            continue
        first = seen.setdefault(point.load, name)
        if first != name:
            wrong = f"load channel {point.load} is used by points.{first} already; give each point its own"
            yield ("points", name, "load"), wrong
