"""How long actions should take, from the bench file and the circuit alone; nothing here is measured."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from batchtest.files.bench import BenchFile
from batchtest.nouns import Measurement

#: Time constants after which a step has died away to 3e-4 of itself.
SETTLED_AFTER = 8.0
#: Relays of common scanners, from the command to the settled contact, s (common practice, no source).
RELAY_S = 0.015
#: Setting an output and reading it back, s (common practice, no source).
SETTING_S = 0.005


@dataclass(frozen=True, slots=True)
class Times:
    """The times of one bench, s."""

    relay_s: float
    reading_s: float

    @classmethod
    def of(cls, bench: BenchFile) -> Times:
        """Relay and integration times of a bench."""
        line_cycle_s = 1 / float(bench.mains)
        reading_s = bench.meter.readings * float(bench.meter.integration) * line_cycle_s
        return cls(relay_s=RELAY_S + float(bench.scanner.settle), reading_s=reading_s)

    def of_readings(self, measurements: Sequence[Measurement]) -> float:
        """One relay move and one integration for each measurement."""
        return len(measurements) * (self.relay_s + self.reading_s)

    def of_settling(self, measurements: Sequence[Measurement]) -> float:
        """One settling for all: that of the slowest point."""
        return SETTLED_AFTER * max((measurement.settle_s for measurement in measurements), default=0.0)
