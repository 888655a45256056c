"""Values that are set and read back, and status registers whose every bit must be known; for all outputs."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from batchtest.bench.dialect import AmperesSetting, Condition, Register, Replies, VoltsSetting, WattsSetting
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_number, parse_whole
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused, InstrumentReplyError
from batchtest.quantities import show

_TRIPS: frozenset[Condition] = frozenset(
    {"over-voltage", "over-current", "over-power", "over-temperature", "protection shutdown"}
)


@dataclass(frozen=True, slots=True)
class Status:
    """Status words as read: `raw` such as "load=0", and what the bits mean that are set."""

    raw: str
    conditions: frozenset[Condition]

    @property
    def tripped(self) -> bool:
        """Whether a protection has acted."""
        return not self.conditions.isdisjoint(_TRIPS)


def read_value(link: Link, query: str, replies: Replies, keep: Callable[[str], object] = len) -> float:
    """One finite number; anything else, over range included, is InstrumentReplyError. `keep` gets the raw reply."""

    def parse(reply: str) -> float:
        keep(reply)
        value = parse_number(reply, units=replies.units)
        if not math.isfinite(value):
            raise InstrumentReplyError(f"{reply!r} says that there is no value")
        return value

    return link.ask(query, parse)


def set_value(
    link: Link,
    setting: VoltsSetting | AmperesSetting | WattsSetting,
    value: float,
    replies: Replies,
    *,
    channel: int = 1,
) -> None:
    """Set a value and read it back.

    Raises
    ------
    InstrumentRefused : an error was in the queue, or the instrument holds another value than it was given.
    """
    quantity, unit = _QUANTITY[type(setting)]
    command = fill(setting.set, **{quantity: float(value)}, channel=channel)
    link.set(command)
    held = read_value(link, fill(setting.query, channel=channel), replies)
    if abs(held - value) > float(setting.resolution) * (1 + 1e-9):
        raise InstrumentRefused(
            f"{link.name}: {command!r} was given {show(value, unit)} and holds {show(held, unit)}; "
            "is it beyond what the instrument can do?"
        )


_QUANTITY: dict[type[VoltsSetting | AmperesSetting | WattsSetting], tuple[str, str]] = {
    VoltsSetting: ("volts", "V"),
    AmperesSetting: ("amperes", "A"),
    WattsSetting: ("watts", "W"),
}


def read_status(link: Link, registers: Sequence[Register], *, channel: int = 1) -> Status:
    """Read status registers, each once.

    Raises
    ------
    InstrumentRefused : a bit is set that the dialect does not know; nobody can say that it is harmless.
    """
    words = [(register, link.ask(fill(register.query, channel=channel), parse_whole)) for register in registers]
    raw = " ".join(f"{register.name}={word}" for register, word in words)
    return Status(raw, frozenset(_meaning(link.name, register, bit) for register, word in words for bit in _bits(word)))


def _bits(word: int) -> list[int]:
    return [bit for bit in range(word.bit_length()) if word >> bit & 1]


def _meaning(name: str, register: Register, bit: int) -> Condition:
    condition = register.bits.get(str(bit))
    if condition is None:
        raise InstrumentRefused(
            f"{name}: bit {bit} of {register.name!r} is set and the dialect does not know it; "
            "look at the instrument, then add the bit to the dialect"
        )
    return condition


def drop_events(link: Link, registers: Sequence[Register], *, channel: int = 1) -> None:
    """Read and forget the registers that clear when read, so that what they show later happened later."""
    for register in registers:
        if register.kind == "event":
            link.ask(fill(register.query, channel=channel), parse_whole)
