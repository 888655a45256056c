"""One clock for the station and the simulated bench: real, scaled or virtual.

Waits for settling and the lives of simulated parts take their time from a `Clock`. Deadlines on the wire and the age of
a proof do not: they are real seconds, whatever the clock says (design: safety is never scaled).
"""

from __future__ import annotations

import threading
import time
from typing import Protocol


class Clock(Protocol):
    """Time as the bench lives it, in seconds since some moment in the past."""

    def now(self) -> float:
        """Seconds on this clock; never goes back."""
        ...

    def sleep(self, seconds: float) -> None:
        """Wait until `seconds` have passed on this clock; no wait for zero or less."""
        ...

    def wait_until(self, moment: float) -> None:
        """Wait until `now()` is at least `moment`; no wait where it is past."""
        ...


class ScaledClock:
    """A clock that runs `scale` times as fast as the wall; a scale of one is real time."""

    def __init__(self, scale: float = 1.0) -> None:
        if not scale > 0:
            raise ValueError(f"a clock's scale is above zero, not {scale}")
        self.scale = scale

    def now(self) -> float:
        """Seconds of the monotonic clock, times the scale."""
        return time.monotonic() * self.scale

    def sleep(self, seconds: float) -> None:
        """Sleep the real share of `seconds`."""
        if seconds > 0:
            time.sleep(seconds / self.scale)

    def wait_until(self, moment: float) -> None:
        """Sleep until `moment` of this clock."""
        self.sleep(moment - self.now())


class VirtualClock:
    """A clock that jumps: whoever waits moves it on at once. For one waiting party at a time."""

    def __init__(self) -> None:
        self._now = 0.0
        self._lock = threading.Lock()

    def now(self) -> float:
        """Seconds that were slept so far."""
        return self._now

    def sleep(self, seconds: float) -> None:
        """Move the clock on by `seconds`."""
        if seconds > 0:
            with self._lock:
                self._now += seconds

    def wait_until(self, moment: float) -> None:
        """Move the clock on to `moment`, never back."""
        with self._lock:
            self._now = max(self._now, moment)
