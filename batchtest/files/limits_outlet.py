"""What must hold of an outlet: `limits/<outlet>.toml` as frozen values."""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import StrictBool

from batchtest.files.bounds import OhmBounds, VoltBounds
from batchtest.files.fields import Name, PositiveAmperes, PositiveSeconds, Table, Text, Wrong
from batchtest.files.limits import Decision


class SourceLimit(Table):
    """Bounds of the source resistance by short pulses (cold), and at thermal rest (hot)."""

    cold: OhmBounds | None = None
    hot: OhmBounds | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Neither."""
        if self.cold is None and self.hot is None:
            yield (), 'has no bounds; give cold, hot or both, such as hot = { upper = "18 ohm" }'


class UsableLimit(Table):
    """The least current that the outlet must be usable to, at the highest ambient temperature."""

    lower: PositiveAmperes


class FuseLimit(Table):
    """What a trip test must show: the longest time to trip, the resistance afterwards."""

    time_to_trip: PositiveSeconds | None = None
    after: OhmBounds | None = None


class OutletLimits(Table):
    """The limits of one outlet; `budget` says whether all that is to hang on it must work."""

    outlet: Name
    revision: Text
    source: Text
    decision: Decision = Decision()
    open: VoltBounds | None = None
    resistance: SourceLimit | None = None
    usable: UsableLimit | None = None
    budget: StrictBool = True
    fuse: FuseLimit | None = None
