"""Status registers whose every bit and word must be known, and what protections have to say; for all outputs."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from batchtest.bench.dialect import Condition, Register, Replies
from batchtest.bench.link import Asked, Link
from batchtest.bench.replies import parse_whole, split
from batchtest.bench.templates import fill
from batchtest.errors import InstrumentRefused, InstrumentReplyError

#: What says that a protection has acted.
TRIPS: frozenset[Condition] = frozenset(
    {
        "over-voltage",
        "over-current",
        "over-power",
        "over-temperature",
        "under-voltage",
        "protection shutdown",
        "load-on time is over",
        "silence",
    }
)


@dataclass(frozen=True, slots=True)
class Status:
    """Status words as read: `raw` such as "load=0", and what the bits and words mean that are shown."""

    raw: str
    conditions: frozenset[Condition]

    @property
    def tripped(self) -> bool:
        """Whether a protection has acted."""
        return not self.conditions.isdisjoint(TRIPS)

    @property
    def regulated(self) -> bool:
        """Whether every output holds what it was set to."""
        return "unregulated" not in self.conditions


def read_status(link: Link, registers: Sequence[Register], replies: Replies, *, channel: str = "1") -> Status:
    """Read status registers, each query once though several registers may stand in its reply.

    Raises
    ------
    InstrumentRefused : a bit or word is shown that the dialect does not know; nobody can say that it is harmless.
    """
    return status_of(link.name, registers, link.ask_all(status_questions(registers, replies, channel=channel)))


def status_questions(registers: Sequence[Register], replies: Replies, *, channel: str = "1") -> list[Asked]:
    """What asks for status registers, for `Link.ask_all`; the answers are words for `status_of`."""
    return [(fill(register.query, channel=channel), partial(_word, register, replies)) for register in registers]


def status_of(name: str, registers: Sequence[Register], words: Sequence[str]) -> Status:
    """What the words of registers say; raises InstrumentRefused as `read_status` does."""
    pairs = list(zip(registers, words, strict=True))
    found: set[Condition] = set()
    for register, word in pairs:
        found |= _of_text(name, register, word) if register.kind == "text" else _of_bits(name, register, word)
    return Status(" ".join(f"{register.name}={word}" for register, word in pairs), frozenset(found))


def drop_events(link: Link, registers: Sequence[Register], *, channel: str = "1") -> None:
    """Read and forget the registers that clear when read, so that what they show later happened later."""
    for query in dict.fromkeys(register.query for register in registers if register.kind == "event"):
        link.ask(fill(query, channel=channel), str)


def _word(register: Register, replies: Replies, reply: str) -> str:
    parts = [part.strip() for part in split(reply, register.of, replies.separator)]
    if not all(parts):
        raise InstrumentReplyError(f"{reply!r} leaves a value out")
    word = parts[register.value - 1]
    return word if register.kind == "text" else str(parse_whole(word))


def _of_bits(name: str, register: Register, word: str) -> set[Condition]:
    value = int(word)
    return {_meaning(name, register, bit) for bit in range(value.bit_length()) if value >> bit & 1}


def _meaning(name: str, register: Register, bit: int) -> Condition:
    condition = register.bits.get(str(bit))
    if condition is None:
        raise InstrumentRefused(
            f"{name}: bit {bit} of {register.name!r} is set and the dialect does not know it; "
            "look at the instrument, then add the bit to the dialect"
        )
    return condition


def _of_text(name: str, register: Register, word: str) -> set[Condition]:
    condition = register.words.get(word)
    if condition is None:
        raise InstrumentRefused(
            f"{name}: {register.name!r} says {word!r} and the dialect does not know it; "
            "look at the instrument, then add the word to the dialect"
        )
    return set() if condition == "nothing" else {condition}
