"""The state of what can drive or draw: the bench supply's output and the channels of the load."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal


@dataclass(slots=True)
class SupplyState:
    """The bench supply: what it is set to, whether it is on, whether a protection of its own has tripped, and which.

    It is off once nobody has spoken to it for `watchdog_s`, 0 for never; `spoken_s` is when somebody last did.
    """

    on: bool = False
    volts: float = 0.0
    limit_A: float = 0.0
    trip_V: float = 0.0
    trip_A: float = math.inf
    tripped: bool = False
    trip: Literal["voltage", "current", "silence"] = "voltage"
    watchdog_s: float = 0.0
    spoken_s: float = 0.0
    sense: bool = False


@dataclass(slots=True)
class LoadChannel:
    """A load channel: `set_A` as asked for, `true_A` what it then draws; its limits, and which has tripped it.

    Below `under_V` it trips; `timer_s` after `on_since_s` it switches itself off, 0 for never. `rising_A_s` and
    `falling_A_s` are how fast its current may change; nothing in the rack is slow enough to see it.
    """

    on: bool = False
    set_A: float = 0.0
    true_A: float = 0.0
    trip_A: float = 0.0
    trip_W: float = 0.0
    tripped: str = ""
    under_V: float = 0.0
    timer_s: float = 0.0
    on_since_s: float = 0.0
    function: str = "CURR"
    sense: bool = False
    rising_A_s: float = 1e5
    falling_A_s: float = 1e5
