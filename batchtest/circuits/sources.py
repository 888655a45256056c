"""Sources with limits, as the bench's instruments are: supply, load channels, the meter's ohms source.

The law is three straight lines: out of the plus node flows I = clip((volts - v) / ohms, lower_A, upper_A), where v is
the voltage between plus and minus. Newton treats it as an active set: a source is on one of its lines, and may step
only between a limit and the slope, never from one limit to the other, so that it cannot jump over a slope of a few
millivolts. The law is kept exactly; nothing is smoothed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.errors import SetupError

Floats = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class LimitedSource:
    """A source between two terminals or nodes of a circuit."""

    name: str
    plus: str
    minus: str


@dataclass(frozen=True, slots=True)
class Drive:
    """What a source is set to: V, ohm > 0, and its limits in A; a number for all samples or an array, one for each."""

    volts: float | Floats
    ohms: float | Floats
    lower_A: float | Floats
    upper_A: float | Floats


#: A source that is off: it delivers exactly nothing.
OFF = Drive(0.0, 1.0, 0.0, 0.0)


@dataclass(frozen=True, slots=True)
class Drives:
    """The settings of all sources of a system as arrays of shape (samples, sources)."""

    volts: Floats
    ohms: Floats
    lower: Floats
    upper: Floats

    @classmethod
    def of(cls, sources: Sequence[LimitedSource], drives: Mapping[str, Drive], count: int) -> Drives:
        """Settings of each source for `count` samples; raises SetupError where they cannot be."""
        volts, ohms, lower, upper = (np.empty((count, len(sources))) for _ in range(4))
        for index, source in enumerate(sources):
            drive = drives[source.name]
            volts[:, index], ohms[:, index] = drive.volts, drive.ohms
            lower[:, index], upper[:, index] = drive.lower_A, drive.upper_A
        if not (ohms > 0).all() or not (lower <= upper).all():
            raise SetupError(f"a drive needs ohms above 0 and lower_A not above upper_A, got {dict(drives)}")
        return cls(volts, ohms, lower, upper)

    def take(self, rows: NDArray[np.intp] | slice) -> Drives:
        """The settings of some samples."""
        return Drives(self.volts[rows], self.ohms[rows], self.lower[rows], self.upper[rows])

    def scaled(self, share: float) -> Drives:
        """All sources turned down to a share, for source stepping."""
        return Drives(self.volts * share, self.ohms, self.lower * share, self.upper * share)

    def segments(self, volts: Floats | None = None) -> NDArray[np.int8]:
        """The line each source is on at its voltage: -1 lower limit, 0 slope, +1 upper; the slope without a voltage."""
        fixed = (self.lower == self.upper).astype(np.int8)
        return fixed if volts is None else np.where(fixed == 1, fixed, self._wanted(volts)).astype(np.int8)

    def follow(self, now: NDArray[np.int8], volts: Floats) -> NDArray[np.int8]:
        """The line each source goes to from the line it is on: at most one line further."""
        wanted = self._wanted(volts)
        stepped = np.where(now * wanted == -1, 0, wanted)
        return np.where(self.lower == self.upper, 1, stepped).astype(np.int8)

    def tangent(self, segments: NDArray[np.int8]) -> tuple[Floats, Floats]:
        """The row of each source, a v + b i = c: on the slope v + ohms i = volts, on a limit i = limit.

        Returns a and b side by side, shape (samples, 2 sources), and -c.
        """
        limit = np.where(segments > 0, self.upper, self.lower)
        slope = segments == 0
        factors = np.concatenate([slope.astype(float), np.where(slope, self.ohms, 1.0)], axis=1)
        return factors, -np.where(slope, self.volts, limit)

    def _wanted(self, volts: Floats) -> NDArray[np.int8]:
        slope = (self.volts - volts) / self.ohms
        return (slope > self.upper).astype(np.int8) - (slope < self.lower).astype(np.int8)
