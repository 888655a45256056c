"""Dialects of relay scanners: how channels are named, closed, opened and read back."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Literal

from pydantic import Field, StrictBool, StrictInt

from batchtest.bench.dialect.base import Dialect
from batchtest.bench.replies import parse_channels, parse_numbers
from batchtest.bench.templates import ChannelsCommand, ChannelsQuery, Command, NamedChannel, placeholders
from batchtest.errors import InstrumentReplyError
from batchtest.files.fields import Wrong


class ScannerDialect(Dialect):
    """A relay scanner.

    `channel` is what channel 103 of a fixture is called: `{channel}`, or `{slot}` (1) and `{number}` (3) of it.
    `one_by_one`: each channel is closed by a command of its own. The reply to `query` is a "list" of what is closed,
    "(@101,131)", a "plain list" without brackets, or "flags", a 1 or 0 for each channel from `first` to `last`, which
    fill in `{first}` and `{last}`.
    """

    role: Literal["scanner"]
    close: ChannelsCommand
    open_all: Command
    query: ChannelsQuery
    channel: NamedChannel = "{channel}"
    one_by_one: StrictBool = False
    reply: Literal["list", "plain list", "flags"] = "list"
    first: StrictInt = Field(default=1, ge=1)
    last: StrictInt = Field(default=1, ge=1)

    def own_faults(self) -> Iterator[Wrong]:
        """Flags of channels that the query does not name, or the reverse."""
        yield from super().own_faults()
        if (self.reply == "flags") is not ({"first", "last"} <= placeholders(self.query)):
            yield ("reply",), "is 'flags' where the query has {first} and {last}, and a list where it has neither"
        if self.first > self.last:
            yield ("first",), f"{self.first} is above last {self.last}; swap them"

    def named(self, channel: int) -> str:
        """What a channel is called in commands."""
        return self.channel.format(channel=channel, slot=channel // 100, number=f"{channel % 100:02d}")

    def close_messages(self, channels: Iterable[int]) -> list[str]:
        """What closes channels."""
        names = [self.named(channel) for channel in channels]
        return [self.close.format(channels=name) for name in (names if self.one_by_one else [",".join(names)])]

    @property
    def query_message(self) -> str:
        """What asks for the closed channels."""
        return self.query.format(first=self.named(self.first), last=self.named(self.last))

    def closed(self, text: str) -> frozenset[int]:
        """Channels that a reply says are closed.

        Raises
        ------
        InstrumentReplyError : the reply is no list of channels, or has not one flag for each.
        """
        if self.reply == "flags":
            flags = parse_numbers(text, self.last - self.first + 1, separator=self.replies.separator)
            if not set(flags) <= {0.0, 1.0}:
                raise InstrumentReplyError(f"{text!r} has another value than 0 and 1")
            return frozenset(self.first + index for index, flag in enumerate(flags) if flag)
        return parse_channels(text, self._number, brackets=self.reply == "list")

    def _number(self, name: str) -> int | None:
        """Channel of a name; `None` where it is none."""
        form = re.escape(self.channel)
        for placeholder in ("channel", "slot", "number"):
            form = form.replace(re.escape(f"{{{placeholder}}}"), rf"(?P<{placeholder}>[0-9]+)")
        match = re.fullmatch(form, name.strip())
        if match is None:
            return None
        parts = match.groupdict()
        return int(parts["channel"]) if "channel" in parts else 100 * int(parts["slot"]) + int(parts["number"])
