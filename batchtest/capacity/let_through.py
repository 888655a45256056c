"""What passes when the outlet is shorted or wired wrong: a resistor limits at once, a fuse only once it has tripped."""

from __future__ import annotations

import math

from batchtest.capacity.fuse import longest_trip_s, trip_A, tripped_A
from batchtest.capacity.model import FuseData, LetThrough, Limiter, ResistorData
from batchtest.capacity.resistor import allowed_W


def lowest_ohm(limiter: Limiter) -> float:
    """The least resistance that the limiter may have, ohm."""
    return limiter.r_min_ohm if isinstance(limiter, FuseData) else limiter.ohm * (1 - limiter.tolerance)


def into_short(limiter: Limiter, *, current_A: float, least_A: float, open_V: float, at_C: float) -> LetThrough:
    """What a short at the outlet does to the limiter.

    Parameters
    ----------
    current_A, least_A : what flows at the first moment, at the most and at the least: the less flows, the longer a fuse
        takes.
    open_V : open-circuit voltage; all of it lies across a tripped fuse.
    """
    heat_W = current_A**2 * lowest_ohm(limiter)
    if isinstance(limiter, ResistorData):
        return LetThrough(
            current_A=current_A,
            lasts_s=math.inf,
            after_A=current_A,
            heat_W=heat_W,
            allowed_W=allowed_W(limiter, at_C),
        )
    lasts_s = longest_trip_s(limiter, least_A, at_C)
    after_A = tripped_A(limiter, open_V, at_C) if math.isfinite(lasts_s) else current_A
    return LetThrough(current_A=current_A, lasts_s=lasts_s, after_A=after_A, heat_W=heat_W, allowed_W=None)


def can_trip(fuse: FuseData, *, delivers_A: float, at_C: float) -> bool:
    """Whether a host that delivers so much into a short, the fuse at its highest resistance, trips it at an ambient.

    Where it does not, the fuse need never trip, and whatever limits the current overheats instead.
    """
    return delivers_A > trip_A(fuse, at_C)
