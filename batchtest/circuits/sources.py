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

from batchtest.errors import SetupError, nearest

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
    siemens: Floats
    lower: Floats
    upper: Floats

    @classmethod
    def of(cls, sources: Sequence[LimitedSource], drives: Mapping[str, Drive], count: int) -> Drives:
        """Settings of each source for `count` samples; a source that is not named is off."""
        names = [source.name for source in sources]
        for name in drives:
            if name not in names:
                raise SetupError(f"no source {name!r} in the system; {nearest(name, names)}")
        chosen = [drives.get(name, OFF) for name in names]
        shape = (count, len(names))
        volts, ohms, lower, upper = (np.empty(shape) for _ in range(4))
        for index, drive in enumerate(chosen):
            volts[:, index], ohms[:, index] = drive.volts, drive.ohms
            lower[:, index], upper[:, index] = drive.lower_A, drive.upper_A
        if (ohms <= 0).any() or (lower > upper).any():
            raise SetupError("a drive needs ohms above 0 and lower_A not above upper_A")
        return cls(volts, 1.0 / ohms, lower, upper)

    def take(self, rows: NDArray[np.intp] | slice) -> Drives:
        """The settings of some samples."""
        return Drives(self.volts[rows], self.siemens[rows], self.lower[rows], self.upper[rows])

    def scaled(self, share: float) -> Drives:
        """All sources turned down to a share, for source stepping."""
        return Drives(self.volts * share, self.siemens, self.lower * share, self.upper * share)

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
        """Conductance of each source on its line, and the current from plus to minus at zero volts."""
        limit = np.where(segments > 0, self.upper, self.lower)
        slope = segments == 0
        return np.where(slope, self.siemens, 0.0), -np.where(slope, self.volts * self.siemens, limit)

    def current(self, segments: NDArray[np.int8], volts: Floats) -> Floats:
        """Current out of plus on the given lines, A."""
        slope = (self.volts - volts) * self.siemens
        return np.where(segments == 0, slope, np.where(segments > 0, self.upper, self.lower))

    def _wanted(self, volts: Floats) -> NDArray[np.int8]:
        slope = (self.volts - volts) * self.siemens
        return (slope > self.upper).astype(np.int8) - (slope < self.lower).astype(np.int8)
