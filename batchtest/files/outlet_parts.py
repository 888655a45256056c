"""What limits an outlet, and what is to hang on it, as people write it: resistor, resettable fuse, demands, leads."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from pydantic import Field, StrictInt

from batchtest.files.fields import (
    Celsius,
    Name,
    PositiveAmperes,
    PositiveOhms,
    PositiveSeconds,
    PositiveSquareMillimetres,
    PositiveVolts,
    PositiveWatts,
    Ratio,
    Table,
    Text,
    UnsignedAmperes,
    UnsignedMetres,
    Wrong,
)
from batchtest.quantities import write


class Resistor(Table):
    """A series resistor: its rating holds in full up to `full_to`, then falls in a line to none at `none_at`."""

    resistance: PositiveOhms
    tolerance: Ratio = Decimal("0.05")
    power: PositiveWatts
    full_to: Celsius = Decimal(70)
    none_at: Celsius = Decimal(155)
    source: Text

    def own_faults(self) -> Iterator[Wrong]:
        """A rating that does not fall."""
        if self.none_at <= self.full_to:
            wrong = f"{write(self.none_at, 'C')} is not above full_to, {write(self.full_to, 'C')}; swap them"
            yield ("none_at",), wrong


class Derated(Table):
    """The share of a fuse's hold and trip current that is left at an ambient temperature."""

    at: Celsius
    share: Ratio


class TimeToTrip(Table):
    """The longest time that a fuse takes to trip at a current."""

    current: PositiveAmperes
    within: PositiveSeconds


class Fuse(Table):
    """A resettable fuse, by its data sheet; `hold` and `trip` are at the ambient temperature `at`, in still air.

    `r_min` is its lowest resistance as delivered, `r1_max` its highest one hour after a trip; `v_max` and `i_max` are
    what it survives tripped and at the fault; `dissipation` is the heat that it sheds when tripped. `derating` is its
    table over ambient, temperatures rising.
    """

    hold: PositiveAmperes
    trip: PositiveAmperes
    at: Celsius
    r_min: PositiveOhms
    r1_max: PositiveOhms
    v_max: PositiveVolts
    i_max: PositiveAmperes
    dissipation: PositiveWatts
    time_to_trip: TimeToTrip
    derating: tuple[Derated, ...] = Field(min_length=2)
    source: Text

    def own_faults(self) -> Iterator[Wrong]:
        """Data that contradict each other, and a derating table that is no curve."""
        if self.trip <= self.hold:
            yield ("trip",), f"{write(self.trip, 'A')} is not above hold, {write(self.hold, 'A')}; swap them"
        if self.r1_max <= self.r_min:
            yield ("r1_max",), f"{write(self.r1_max, 'ohm')} is not above r_min, {write(self.r_min, 'ohm')}; swap them"
        if self.time_to_trip.current <= self.trip:
            wrong = f"{write(self.time_to_trip.current, 'A')} is not above trip, {write(self.trip, 'A')}"
            yield ("time_to_trip", "current"), f"{wrong}; a time is stated at several times hold"
        if self.at > self.derating[-1].at:
            end = write(self.derating[-1].at, "C")
            yield ("at",), f"{write(self.at, 'C')} is beyond the derating table, which ends at {end}; add to the table"
        for index, (before, after) in enumerate(pairwise(self.derating), start=1):
            if after.at <= before.at:
                wrong = f"{write(after.at, 'C')} is not above {write(before.at, 'C')} before it; sort them upwards"
                yield ("derating", index, "at"), wrong
            if after.share > before.share:
                wrong = f"{write(after.share, '%')} is above {write(before.share, '%')} of a cooler fuse; it must fall"
                yield ("derating", index, "share"), wrong


class Demand(Table):
    """A thing that is to hang on the outlet, on a two-core lead of its own.

    `peak` is its highest current (where it is missing, `current`), `minimum` the voltage that it needs at its own end;
    the cross-section of one core is its `area`, or its `awg`.
    """

    name: Name
    current: UnsignedAmperes
    peak: PositiveAmperes | None = None
    minimum: PositiveVolts
    length: UnsignedMetres = Decimal(0)
    area: PositiveSquareMillimetres | None = None
    awg: StrictInt | None = Field(default=None, ge=0, le=40)
    source: Text

    def own_faults(self) -> Iterator[Wrong]:
        """A lead without a cross-section or with two, a peak below the current."""
        if self.length > 0 and self.area is None and self.awg is None:
            yield ("length",), 'stands without the cross-section of a core; add area = "0.25 mm2", or awg = 24'
        if self.area is not None and self.awg is not None:
            yield ("awg",), "stands beside area; keep one of the two"
        if self.peak is not None and self.peak < self.current:
            wrong = f"{write(self.peak, 'A')} is below current, {write(self.current, 'A')}; swap them"
            yield ("peak",), wrong


class WhatIf(Table):
    """Another limiter in place of the one that is fitted: a resistor, a fuse, or a generic rating from the table."""

    name: Text
    resistor: Resistor | None = None
    fuse: Fuse | None = None
    generic: Name | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """None, or more than one."""
        if sum(each is not None for each in (self.resistor, self.fuse, self.generic)) != 1:
            yield (), 'needs exactly one of resistor, fuse and generic, such as generic = "1812-020"'
