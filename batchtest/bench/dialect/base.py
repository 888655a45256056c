"""What the dialects of all roles share: identity, what is sent first, errors, and what replies look like."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal, TypeVar

from pydantic import Field, StrictBool, StrictInt, StrictStr

from batchtest.bench.templates import Command, FirmwareRange, Pattern, Query
from batchtest.files.fields import Table, Wrong


class Errors(Table):
    """The error queue: how it is read, what an empty one answers, how many entries are read at most.

    `query` is empty where the instrument has none; then it should acknowledge each command.
    """

    query: Query | Literal[""] = "SYST:ERR?"
    none: Pattern = r"[+-]?0+(,.*)?"
    drain: StrictInt = Field(default=20, ge=1)


class Replies(Table):
    """Peculiarities of replies.

    `units` may follow numbers and are dropped; `over_range` are texts that stand for over range, "" for an empty reply;
    `acknowledge` is the word that answers each command; `blank_lines`: empty lines come before replies and are skipped;
    `decimal` is the sign before decimals, `separator` what stands between several values of one reply.
    """

    units: tuple[StrictStr, ...] = ()
    over_range: tuple[StrictStr, ...] = ()
    acknowledge: StrictStr = ""
    blank_lines: StrictBool = False
    decimal: Literal[".", ","] = "."
    separator: Literal[",", ";", " "] = ","

    def own_faults(self) -> Iterator[Wrong]:
        """Signs and blanks that would mean two things."""
        if self.decimal == self.separator:
            yield ("separator",), "is the decimal comma too, so that nobody can tell values apart; write ';'"
        if self.blank_lines and "" in self.over_range:
            yield ("over_range",), "has an empty text, and blank_lines skips empty lines; keep one of the two"


class Dialect(Table):
    """What all instruments share.

    `adapter` names the code that stands between messages and wire, where that is not text. `identity` must match the
    whole `*IDN?` reply. `firmware` is the range that the dialect was tried on, such as ">=1.0,<3"; empty for any.
    `remote` is sent each time the link was opened, before anything else; `init` once, after that. `complete` is asked
    after each group of settings; empty where the instrument does not know it, or answers before it is done. `joins`
    says that several queries may stand in one message, joined by semicolons, each from the root of the tree.
    `resynchronise` is false where `*ESE` is not known: a link out of step is then opened anew. `events` asks for the
    standard event register, whose bit 7 is set by power-on (IEEE 488.2, 11.5.1), where the instrument keeps to that.
    `probes` are queries that neither set nor switch anything, with the pattern of their replies, for `bench --learn`.
    """

    role: Literal["meter", "load", "supply", "scanner", "handler"]
    adapter: Literal["", "frames"] = ""
    identity: Pattern = ".*"
    firmware: FirmwareRange = ""
    remote: Command | Literal[""] = ""
    init: tuple[Command, ...] = ("*RST", "*CLS")
    complete: Query | Literal[""] = "*OPC?"
    joins: StrictBool = False
    resynchronise: StrictBool = True
    events: Query | Literal[""] = ""
    errors: Errors = Errors()
    replies: Replies = Replies()
    probes: dict[Query, Pattern] = {}

    def own_faults(self) -> Iterator[Wrong]:
        """Settings of which nobody would hear that they were refused; joined answers that nobody could tell apart."""
        if not self.errors.query and not self.replies.acknowledge:
            yield ("errors", "query"), "is empty, and replies.acknowledge too: nothing would tell of a refused command"
        if self.joins and self.replies.separator == ";":
            yield ("joins",), "is true, and replies.separator is what joined answers are told apart by; leave it out"


DialectT = TypeVar("DialectT", bound=Dialect)
