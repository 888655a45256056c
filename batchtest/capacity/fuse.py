"""A resettable fuse by its data sheet: what it holds when warm, how soon it trips, what it lets through once it has."""

from __future__ import annotations

import math
from enum import StrEnum

from batchtest.capacity.derating import share
from batchtest.capacity.model import FuseData


class Region(StrEnum):
    """What a fuse does at a current for good. Between hold and trip its data sheet says nothing."""

    HOLDS = "holds"
    UNDEFINED = "may trip or not"
    TRIPS = "trips"


def hold_A(fuse: FuseData, at_C: float) -> float:
    """The largest current that does not trip the fuse at an ambient, A."""
    return fuse.hold_A * _against_stated(fuse, at_C)


def trip_A(fuse: FuseData, at_C: float) -> float:
    """The smallest current that trips the fuse at an ambient, A."""
    return fuse.trip_A * _against_stated(fuse, at_C)


def region(fuse: FuseData, current_A: float, at_C: float) -> Region:
    """What the fuse does at a current at an ambient."""
    if current_A <= hold_A(fuse, at_C):
        return Region.HOLDS
    return Region.TRIPS if current_A >= trip_A(fuse, at_C) else Region.UNDEFINED


def longest_trip_s(fuse: FuseData, current_A: float, at_C: float) -> float:
    """The longest that the fuse takes to trip at a current, s; infinite below its trip current.

    A body that sheds heat in proportion to its warmth and is heated by I^2 R reaches a given warmth after
    t = tau ln(I^2 / (I^2 - I_trip^2)); tau follows from the time that the data sheet states, which is taken to hold at
    the ambient of its ratings. Far above the trip current this is the usual I^2 t = constant.
    """
    trips_at_A = trip_A(fuse, at_C)
    if current_A <= trips_at_A:
        return math.inf
    tau_s = fuse.trip_s / _log_share(fuse.trip_at_A, fuse.trip_A)
    return tau_s * _log_share(current_A, trips_at_A)


def tripped_A(fuse: FuseData, voltage_V: float, at_C: float) -> float:
    """What still flows through the tripped fuse with a voltage across it, A: its heat over the voltage.

    The heat that keeps it tripped falls with the ambient as the square of the current that it holds.
    """
    return fuse.dissipation_W * _against_stated(fuse, at_C) ** 2 / voltage_V


def _against_stated(fuse: FuseData, at_C: float) -> float:
    """What is left of the ratings at an ambient, over what is left at the ambient that they are stated for."""
    return share(fuse.derating, at_C) / share(fuse.derating, fuse.at_C)


def _log_share(current_A: float, trips_at_A: float) -> float:
    return -math.log1p(-((trips_at_A / current_A) ** 2))
