"""What must hold of a board: `limits/<board>.toml`, or `.csv`, as frozen values."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise
from typing import Literal

from pydantic import Field, StrictInt, StrictStr

from batchtest.files.bounds import OhmBounds, VoltBounds
from batchtest.files.fields import Name, Ratio, Table, Text, UnsignedAmperes, Volts, Wrong, crossed
from batchtest.files.serials import serial_pattern_faults
from batchtest.quantities import write


class Decision(Table):
    """The decision rule, agreed beforehand: limits tightened by U (k = 2), or taken as they stand."""

    rule: Literal["guarded", "plain"] = "guarded"


class ColdLimit(Table):
    """A check of the unpowered board: a resistance or a diode drop at a point, never both."""

    point: Name
    resistance: OhmBounds | None = None
    diode: VoltBounds | None = None
    source: Text = "the circuit and its part tolerances"

    def own_faults(self) -> Iterator[Wrong]:
        """Both functions, or neither."""
        if self.resistance is None and self.diode is None:
            yield (), "has nothing to measure; give resistance or diode its bounds"
        if self.resistance is not None and self.diode is not None:
            yield ("diode",), "stands beside resistance; give each a check of its own"


class LoadLimit(Table):
    """Bounds of a rail at one load point: `within` a share of nominal, or `lower` and `upper`."""

    load: UnsignedAmperes | None = None
    within: Ratio | None = None
    lower: Volts | None = None
    upper: Volts | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """No bound, two kinds of bounds, or crossed bounds."""
        if self.within is None and self.lower is None and self.upper is None:
            yield (), 'has no bound; give within = "2 %", or lower and upper'
        if self.within is not None and (self.lower is not None or self.upper is not None):
            yield ("within",), "stands beside lower or upper; keep either within or the bounds"
        yield from crossed(self, "V")


class RegulationLimit(Table):
    """Upper bound of load regulation, a share of nominal."""

    upper: Ratio


class AbortBounds(Table):
    """Voltages beyond which nothing stays powered."""

    above: Volts | None = None
    below: Volts | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Neither bound, or crossed bounds."""
        if self.above is None and self.below is None:
            yield (), 'has no bound; give above, below or both, such as { above = "5.6 V" }'
        if self.above is not None and self.below is not None and self.below > self.above:
            yield ("below",), f"{write(self.below, 'V')} is higher than above, {write(self.above, 'V')}; swap them"


class RailLimit(Table):
    """A supply rail. Its name is the point's in the fixture.

    `at` has one entry for each load point, or a single entry that holds at all of them (no load of its own).
    """

    nominal: Volts
    source: Text
    at: tuple[LoadLimit, ...] = Field(min_length=1)
    regulation: RegulationLimit | None = None
    resistance: OhmBounds | None = None
    abort: AbortBounds | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """What the entries of `at`, the derived limits and the abort bounds say against each other."""
        yield from _load_faults(self)
        yield from _derived_faults(self)
        yield from _nominal_faults(self)
        yield from _abort_faults(self)


class Retests(Table):
    """How often one person may test a board again that was tested, and not reworked since."""

    allowed: StrictInt = Field(default=1, ge=0)


class LimitsFile(Table):
    """One board type's limits; `firmware` and `option` (which of its parts lists) are what the boards carry."""

    board: Name
    revision: Text
    firmware: Text = ""
    option: Text = ""
    serials: StrictStr
    decision: Decision = Decision()
    retests: Retests = Retests()
    cold: dict[Name, ColdLimit] = {}
    rails: dict[Name, RailLimit] = Field(min_length=1)

    def own_faults(self) -> Iterator[Wrong]:
        """A serial pattern that is not safe, or rails that do not agree on the load points."""
        yield from ((("serials",), message) for message in serial_pattern_faults(self.serials))
        yield from _load_point_faults(self)


def load_points(limits: LimitsFile) -> int:
    """How many load points the rails are read at: as many as the longest `at` has entries."""
    return max(len(rail.at) for rail in limits.rails.values())


def rail_bounds(rail: RailLimit, entry: LoadLimit) -> tuple[Decimal | None, Decimal | None]:
    """Lower and upper bound of a rail at one load point, V, whichever way they were written."""
    if entry.within is None:
        return entry.lower, entry.upper
    reach = abs(rail.nominal) * entry.within
    return rail.nominal - reach, rail.nominal + reach


def _load_faults(rail: RailLimit) -> Iterator[Wrong]:
    if len(rail.at) < 2:
        return
    for index, entry in enumerate(rail.at):
        if entry.load is None:
            yield (
                ("at", index, "load"),
                'is missing; with several load points each needs its own, such as load = "20 mA"',
            )
    loads = [(index, entry.load) for index, entry in enumerate(rail.at) if entry.load is not None]
    for (_, before), (index, load) in pairwise(loads):
        if load < before:
            wrong = f"{write(load, 'A')} is less than {write(before, 'A')} before it; sort the entries by rising load"
            yield ("at", index, "load"), wrong


def _derived_faults(rail: RailLimit) -> Iterator[Wrong]:
    for name in ("regulation", "resistance"):
        if getattr(rail, name) is not None and len(rail.at) < 2:
            yield (name,), "needs at least two load points; add entries to at, or leave it out"
    loads = {entry.load for entry in rail.at}
    if rail.resistance is not None and len(rail.at) > 1 and len(loads) == 1:
        yield ("resistance",), "needs loads that differ between the load points; change them, or leave it out"


def _nominal_faults(rail: RailLimit) -> Iterator[Wrong]:
    if rail.nominal != 0:
        return
    if rail.regulation is not None or any(entry.within is not None for entry in rail.at):
        yield ("nominal",), "is zero, so within and regulation have no share of it; give lower and upper instead"


def _abort_faults(rail: RailLimit) -> Iterator[Wrong]:
    if rail.abort is None:
        return
    bounds = [rail_bounds(rail, entry) for entry in rail.at]
    highest = max((upper for _, upper in bounds if upper is not None), default=None)
    lowest = min((lower for lower, _ in bounds if lower is not None), default=None)
    above, below = rail.abort.above, rail.abort.below
    if above is not None and highest is not None and above < highest:
        yield (
            ("abort", "above"),
            f"{write(above, 'V')} lies inside the limits, which reach {write(highest, 'V')}; raise it",
        )
    if below is not None and lowest is not None and below > lowest:
        yield (
            ("abort", "below"),
            f"{write(below, 'V')} lies inside the limits, which reach {write(lowest, 'V')}; lower it",
        )


def _load_point_faults(limits: LimitsFile) -> Iterator[Wrong]:
    count = load_points(limits)
    for name, rail in limits.rails.items():
        if 1 < len(rail.at) < count:
            yield (
                ("rails", name, "at"),
                f"has {len(rail.at)} load points where another rail has {count}; give {count}, or one",
            )
        if len(rail.at) == 1 < count and rail.at[0].load:
            wrong = f"stands in an entry that holds at all {count} load points; leave load out, or give {count} entries"
            yield ("rails", name, "at", 0, "load"), wrong
