"""Bounds of one measurand as people write them: lower, upper or both, included."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.files.fields import Ohms, Table, Volts, Wrong, crossed


class OhmBounds(Table):
    """Bounds of a resistance, both included."""

    lower: Ohms | None = None
    upper: Ohms | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Neither bound, or crossed bounds."""
        if self.lower is None and self.upper is None:
            yield (), 'has no bound; give lower, upper or both, such as { lower = "900 ohm" }'
        yield from crossed(self, "ohm")


class VoltBounds(Table):
    """Bounds of a voltage, both included."""

    lower: Volts | None = None
    upper: Volts | None = None

    def own_faults(self) -> Iterator[Wrong]:
        """Neither bound, or crossed bounds."""
        if self.lower is None and self.upper is None:
            yield (), 'has no bound; give lower, upper or both, such as { lower = "500 mV" }'
        yield from crossed(self, "V")
