"""The state of what can drive or draw: the bench supply's output and the channels of the load."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(slots=True)
class SupplyState:
    """The bench supply: what it is set to, whether it is on, whether its over-voltage protection has tripped."""

    on: bool = False
    volts: float = 0.0
    limit_A: float = 0.0
    trip_V: float = 0.0
    tripped: bool = False


@dataclass(slots=True)
class LoadChannel:
    """A load channel: `set_A` as asked for, `true_A` what it then draws; its limits, and which has tripped it."""

    on: bool = False
    set_A: float = 0.0
    true_A: float = 0.0
    trip_A: float = 0.0
    trip_W: float = 0.0
    tripped: str = ""
