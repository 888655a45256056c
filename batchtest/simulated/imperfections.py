"""What keeps a simulated instrument from the truth: gain and offset inside its accuracy table, noise, mains hum.

One instrument's errors are drawn once from the bench's seed: they stay the same from reading to reading, as a real
instrument's do, and differ from function to function and range to range.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from random import Random

from batchtest.judging.accuracy import AnyRow, Row

#: Smallest step that a meter shows, as a share of its range.
RESOLUTION = 1e-6
#: How far the mains are off their nominal frequency, Hz: one line cycle of integration cancels hum well, not wholly.
MAINS_OFF_HZ = 0.02


@dataclass(frozen=True, slots=True)
class Error:
    """The fixed error of one instrument on one range: a share of the value, and an offset in the base unit."""

    gain: float
    offset: float

    def applied(self, value: float) -> float:
        """What the instrument makes of a true value."""
        return value * (1 + self.gain) + self.offset


def draw_error(row: Row, seed: int, instrument: str, function: str) -> Error:
    """Draw an instrument's error on one range, uniformly inside the half-width of its accuracy row."""
    random = Random(f"{seed}/{instrument}/{function}/{row.range}")
    gain = random.uniform(-1, 1) * float(row.reading)
    return Error(gain, random.uniform(-1, 1) * float(row.of_range) * float(row.range))


def row_for_value(rows: Sequence[AnyRow], value: float) -> AnyRow:
    """Row of the smallest range that holds a value; the largest range where none does."""
    return next((row for row in rows if float(row.range) >= abs(value)), rows[-1])


def noise_rms(row: Row, nplc: float) -> float:
    """Noise of one reading integrated over `nplc` line cycles, rms, base unit: white, less the longer."""
    return float(row.noise) * math.sqrt(float(row.integration) / nplc)


@dataclass(frozen=True, slots=True)
class Hum:
    """Mains hum at the meter's terminals: its amplitude, true frequency, and phase at time zero."""

    amplitude_V: float
    frequency_Hz: float
    phase: float

    @classmethod
    def drawn(cls, amplitude_V: float, mains_Hz: float, seed: int) -> Hum:
        """Hum of a bench: the mains a little off their nominal frequency, the phase by chance."""
        return cls(amplitude_V, mains_Hz + MAINS_OFF_HZ, Random(f"{seed}/hum").uniform(0, 2 * math.pi))

    def mean(self, from_s: float, to_s: float) -> float:
        """Its mean over an integration window, V."""
        if self.amplitude_V == 0 or to_s <= from_s:
            return 0.0
        omega = 2 * math.pi * self.frequency_Hz
        swing = math.cos(omega * from_s + self.phase) - math.cos(omega * to_s + self.phase)
        return self.amplitude_V * swing / (omega * (to_s - from_s))


def rounded(value: float, range_: float) -> float:
    """A value as the meter's resolution shows it."""
    step = RESOLUTION * range_
    return round(value / step) * step
