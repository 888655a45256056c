"""How the accessory output of a host is load-tested: `fixtures/outlets/<name>.toml` as frozen values."""

from __future__ import annotations

from collections.abc import Iterator
from decimal import Decimal
from itertools import pairwise

from pydantic import Field

from batchtest.errors import nearest
from batchtest.files.fields import (
    Celsius,
    Channel,
    Name,
    PositiveAmperes,
    PositiveNumber,
    PositiveSeconds,
    PositiveVolts,
    Ratio,
    Table,
    Text,
    Wrong,
)
from batchtest.files.generic_fuses import generic_fuses
from batchtest.files.outlet_parts import Demand, Fuse, Resistor, WhatIf
from batchtest.quantities import write

#: A short pulse warms nothing: this long at most (common practice, no source: 100 to 300 ms).
LONGEST_PULSE_S = Decimal("0.3")


class Ratings(Table):
    """What may not be passed, whatever the outlet would give; each with where it is written."""

    upstream_fuse: PositiveAmperes
    connector: PositiveAmperes
    wire: PositiveAmperes
    source: Text


class Sweep(Table):
    """The currents of a sweep, rising, and how the outlet is loaded at each.

    `pulse` is how long a cold one lasts, `pause` how long the outlet then rests. A hot one lasts until the voltage
    moves by less than `still` in `within`, and no longer than `longest`.
    """

    currents: tuple[PositiveAmperes, ...] = Field(min_length=3)
    pulse: PositiveSeconds = Decimal("0.2")
    pause: PositiveSeconds = Decimal(2)
    still: PositiveVolts = Decimal("0.001")
    within: PositiveSeconds = Decimal(30)
    longest: PositiveSeconds = Decimal(600)

    def own_faults(self) -> Iterator[Wrong]:
        """Currents that do not rise, a pulse that warms, a dwell that ends before it could be still."""
        for index, (before, after) in enumerate(pairwise(self.currents), start=1):
            if after <= before:
                wrong = f"{write(after, 'A')} does not rise above {write(before, 'A')} before it; sort them upwards"
                yield ("currents", index), wrong
        if self.pulse > LONGEST_PULSE_S:
            wrong = (
                f"{write(self.pulse, 's')} warms what it should find cold; take {write(LONGEST_PULSE_S, 's')} or less"
            )
            yield ("pulse",), wrong
        if self.longest <= self.within:
            wrong = f"{write(self.longest, 's')} is no longer than within, {write(self.within, 's')}; raise it"
            yield ("longest",), wrong


class Hold(Table):
    """How long a fuse must hold its derated hold current, and how long it cools before its resistance is read again."""

    time: PositiveSeconds
    cooling: PositiveSeconds


class Trip(Table):
    """The trip test: the current as a `multiple` of hold, how long at most, and how long the resistance is followed.

    `volts` is what the bench supply gives where the fuse is tested alone.
    """

    multiple: PositiveNumber = Decimal(5)
    longest: PositiveSeconds = Decimal(60)
    after: PositiveSeconds = Decimal(3600)
    volts: PositiveVolts

    def own_faults(self) -> Iterator[Wrong]:
        """A multiple at which nobody knows what a fuse does."""
        if self.multiple < 3:
            wrong = f"is {self.multiple}: between hold and trip nobody knows what a fuse does; take 3 or more"
            yield ("multiple",), wrong


class OutletFile(Table):
    """An outlet of a host: by which break-out plug it is reached, what limits it, what is to hang on it.

    `host` names the fixture in `fixtures/hosts/`, `point` one of its points, `load` the channel that draws from it;
    `part` is the part of the host's circuit that stands in series with the outlet. `ambient_max` is the warmest that
    the host's surroundings get, `margin` the share of what it could carry that is promised. `asked_of` says who owns
    the host and knows of the load test.
    """

    host: Name
    point: Name
    load: Channel
    part: Name
    revision: Text
    asked_of: Text
    ambient_max: Celsius
    margin: Ratio = Decimal("0.9")
    ratings: Ratings
    resistor: Resistor | None = None
    fuse: Fuse | None = None
    sweep: Sweep
    hold: Hold | None = None
    trip: Trip | None = None
    budget: tuple[Demand, ...] = ()
    what_if: tuple[WhatIf, ...] = ()

    def own_faults(self) -> Iterator[Wrong]:
        """No limiter or two, tests of a fuse where there is none, names twice."""
        yield from self._limiter_faults()
        if not 0 < self.margin <= 1:
            yield ("margin",), f"{write(self.margin, '%')} promises nothing, or more than there is; take such as '90 %'"
        for key, named in (("budget", self.budget), ("what_if", self.what_if)):
            names: list[str] = [each.name for each in named]
            for index, name in enumerate(names):
                if name in names[:index]:
                    yield (key, index, "name"), f"{name!r} is there already; give each its own"

    def _limiter_faults(self) -> Iterator[Wrong]:
        if (self.resistor is None) == (self.fuse is None):
            yield (), "needs what stands in series with the outlet: either [resistor] or [fuse]"
        for key in ("hold", "trip"):
            if getattr(self, key) is not None and self.fuse is None:
                yield (key,), "is a test of a resettable fuse, and there is no [fuse]; leave it out"
        yield from self._derating_faults("[fuse]", self.fuse, "add to the table")
        for index, each in enumerate(self.what_if):
            fuse, cure = each.fuse, "add to the table"
            if each.generic is not None:
                fuse, cure = generic_fuses().get(each.generic), "give it a fuse of its own"
                if fuse is None:
                    known = nearest(each.generic, list(generic_fuses()))
                    yield ("what_if", index, "generic"), f"there is no generic fuse {each.generic!r}; {known}"
            yield from self._derating_faults(f"what_if {each.name!r}", fuse, cure)

    def _derating_faults(self, name: str, fuse: Fuse | None, cure: str) -> Iterator[Wrong]:
        if fuse is not None and self.ambient_max > fuse.derating[-1].at:
            wrong = f"{write(self.ambient_max, 'C')} is beyond the derating table of {name}"
            yield ("ambient_max",), f"{wrong}, which ends at {write(fuse.derating[-1].at, 'C')}; {cure}"
