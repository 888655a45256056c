"""A simulated bench in place of a real one: the `[simulation]` of a bench file."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from typing import Literal

from pydantic import StrictInt, StrictStr

from batchtest.files.bench_faults import BenchFault
from batchtest.files.fields import (
    Celsius,
    Name,
    Ohms,
    PositiveAmperes,
    PositiveNumber,
    PositiveOhms,
    PositiveSeconds,
    Ratio,
    Table,
    UnsignedVolts,
    Wrong,
)
from batchtest.quantities import write

Transport = Literal["tcp", "pty", "hislip", "vxi11"]


class SimulatedOutlet(Table):
    """What a simulated host truly has in series with its accessory outlet: drawn by serial inside what stands here.

    `part` is the resistor of the host's circuit in whose place it sits, `variant` whether it is that resistor or a
    resettable fuse; where they are missing, the file of the outlet says it. `ambient` is the air at it, near the
    bench's where it is missing. The keys from `hold` to `trip_within` are the fuse's data sheet: hold and trip
    current and their temperature, least resistance and largest one hour after a trip, and the longest time to trip at
    a current. `wire` is the harness from it to the outlet's pins, `lead` what lies between these and the load, which
    the meter does not see. `upstream` is the rating of the host's own fuse: it opens by heat, above one and a half
    times that; where it is missing it never opens.
    """

    part: Name | None = None
    variant: Literal["resistor", "fuse"] | None = None
    ambient: Celsius | None = None
    hold: PositiveAmperes = Decimal("0.2")
    trip: PositiveAmperes = Decimal("0.4")
    at: Celsius = Decimal(20)
    r_min: PositiveOhms = Decimal("1.5")
    r1_max: PositiveOhms = Decimal(4)
    trip_current: PositiveAmperes = Decimal(1)
    trip_within: PositiveSeconds = Decimal(8)
    wire: Ohms = Decimal("0.06")
    lead: Ohms = Decimal("0.04")
    upstream: PositiveAmperes | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Bounds that contradict each other."""
        if self.trip <= self.hold:
            yield ("trip",), f"{write(self.trip, 'A')} is not above hold, {write(self.hold, 'A')}; swap them"
        if self.r1_max <= self.r_min:
            yield ("r1_max",), f"{write(self.r1_max, 'ohm')} is not above r_min, {write(self.r_min, 'ohm')}; swap them"
        if self.trip_current < self.trip:
            wrong = f"{write(self.trip_current, 'A')} is below trip, {write(self.trip, 'A')}, and need not trip it"
            yield ("trip_current",), f"{wrong}; write the current of the data sheet's time to trip"


class Simulation(Table):
    """A simulated bench in place of addresses.

    `fixture` is what is simulated when the command names none. `cable` is what truly comes whenever the fixture's own
    cable is fitted, at the start too: somebody put it into the wrong drawer. `scale` is simulated seconds per real
    second. A board is bad with probability `defect_rate`, with one of `faults` (all modes of all its parts where the
    list is empty); `boards` says it outright for single serials ("" is good, "host.DS1 open" is the host's side). The
    serial "golden" never has a fault. `hosts` says what is wrong with single hosts: a part of the host's circuit ("RACC
    open"), or pins that its harness or the break-out plug mixes up ("pins 5-7 swapped", "pins 8-2 joined"); all others
    are good. `outlet` is what a host has in series with its accessory outlet. `open_needles` are terminals ("TP3")
    whose needle does not touch. `transport` is how the instruments are reached, and `transports` says it for single
    roles. `mishaps` are faults of the instruments on demand.
    """

    fixture: Name
    cable: Name | None = None
    scale: PositiveNumber = Decimal(1)
    seed: StrictInt
    defect_rate: Ratio = Decimal(0)
    faults: tuple[StrictStr, ...] = ()
    boards: dict[Name, StrictStr] = {}
    hosts: dict[Name, StrictStr] = {}
    outlet: SimulatedOutlet | None = None
    hum: UnsignedVolts = Decimal(0)
    open_needles: tuple[StrictStr, ...] = ()
    transport: Transport = "tcp"
    transports: dict[Literal["meter", "load", "supply", "scanner", "handler"], Transport] = {}
    mishaps: tuple[BenchFault, ...] = ()
