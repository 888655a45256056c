"""The actions of a procedure: what is done, what is measured in it, how long it should take. Frozen values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from batchtest.cables import Suspects
from batchtest.nouns import Measurement


@dataclass(frozen=True, slots=True, kw_only=True)
class Action:
    """One entry of a procedure: a title for people, the seconds it should take, the measurements made in it."""

    title: str
    seconds: float
    measurements: tuple[Measurement, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class MakeSafe(Action):
    """Load and supply off and read back, relays open, protections set and read back."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadReference(Action):
    """The known voltage through meter and scanner: without it no zero counts."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProveContact(Action):
    """Both needles on each terminal of the fixture; `channels` join them, one for each measurement."""

    channels: tuple[int, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadResidual(Action):
    """Voltage at every point, nothing powered, before any ohms; `rest_s` after the discharge resistor went off."""

    rest_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Discharge(Action):
    """The discharge resistor on for `on_s`, then off again; after the rest the voltage must not have risen."""

    channel: int
    on_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Identify(Action):
    """The cable's id resistor."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ProvePinMap(Action):
    """Every point that touches the cable's host end, read cold: what the right cable connects, and what it keeps apart.

    `repeated` are the readings that are taken again immediately before the output goes on: those that tell best.
    """

    repeated: tuple[Measurement, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckInterlock(Action):
    """The loop through lid and covers: neither open nor bridged."""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckCold(Action):
    """Resistances and diode drops of the unpowered board, on points just shown to be dead."""


@dataclass(frozen=True, slots=True, kw_only=True)
class SoftStart(Action):
    """One step of power-up: `volts`, current limit at `limit_A`; after `inrush_s` the windows must hold."""

    volts: float
    limit_A: float
    inrush_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class ApplyLoads(Action):
    """A load point: the current of every load channel (A) set together, one settling, then every rail.

    `limit_A` is the supply's own current limit for it.
    """

    index: int
    currents: Mapping[int, float]
    limit_A: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Derive(Action):
    """Values computed from readings already taken: regulation and output resistance."""


@dataclass(frozen=True, slots=True, kw_only=True)
class PowerDown(Action):
    """Load off, supply off, the discharge resistor on for `on_s`, and a measured voltage: safe to disconnect.

    `measurements` begin and end with the known voltage, since only between two right readings of it a zero counts.
    """

    channel: int
    on_s: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Procedure:
    """The derived list for one board type on one fixture and bench: a gate that ends unpowered, then the rest.

    `suspects` knows what may lie in the fixture instead of the right cable.
    """

    board: str
    fixture: str
    bench: str
    suspects: Suspects
    gate: tuple[Action, ...]
    powered: tuple[Action, ...]

    @property
    def seconds(self) -> float:
        """Time that one board should take, s."""
        return sum(action.seconds for action in (*self.gate, *self.powered))
