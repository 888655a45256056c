"""The electronic load: constant current on each of its channels, with its own limits of current and power."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import partial

from batchtest.bench.dialect import LoadDialect
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_state
from batchtest.bench.settings import Status, drop_events, read_status, read_value, set_value
from batchtest.bench.switching import still_on
from batchtest.bench.templates import fill
from batchtest.errors import BenchError, InstrumentRefused, OutputsNotOff
from batchtest.files.bench import LoadProtection


@dataclass(frozen=True, slots=True)
class LoadState:
    """What one channel sees: volts at its terminals, amperes it draws, its status."""

    volts: float
    amperes: float
    status: Status


class Load:
    """An electronic load in constant current."""

    def __init__(self, link: Link, dialect: LoadDialect, channels: int, protection: LoadProtection) -> None:
        self.link, self.dialect = link, dialect
        self.channels = tuple(range(1, channels + 1))
        self.protection = protection

    def set_current(self, channel: int, amperes: float) -> None:
        """Set the current of a channel, A, and read it back."""
        self._select(channel)
        set_value(self.link, self.dialect.level, amperes, self.dialect.replies, channel=channel)

    def on(self, channel: int) -> None:
        """Switch a channel on, and read back that it is."""
        self._select(channel)
        self.link.set(fill(self.dialect.enable.on, channel=channel))
        if not self.is_on(channel):
            raise InstrumentRefused(f"{self.link.name}: channel {channel} does not switch on; has it tripped?")

    def off(self, channel: int | None = None) -> None:
        """Switch a channel off, or all of them, and read back that they are; works on a dirty link."""
        channels = self.channels if channel is None else (channel,)
        self.send_off(channels)
        self.confirm_off(channels)

    def is_on(self, channel: int) -> bool:
        """Whether a channel's input is on."""
        switch = self.dialect.enable
        self._select(channel)
        query = fill(switch.query, channel=channel)
        return self.link.ask(query, lambda reply: parse_state(reply, switch.on_words, switch.off_words))

    def measured(self, channel: int) -> LoadState:
        """Volts, amperes and status of a channel, as the load itself sees them."""
        self._select(channel)
        replies = self.dialect.replies
        volts = read_value(self.link, fill(self.dialect.volts, channel=channel), replies)
        amperes = read_value(self.link, fill(self.dialect.amperes, channel=channel), replies)
        return LoadState(volts, amperes, read_status(self.link, self.dialect.status, channel=channel))

    def status(self, channel: int) -> Status:
        """Status of a channel; an unknown bit is InstrumentRefused."""
        self._select(channel)
        return read_status(self.link, self.dialect.status, channel=channel)

    def protect(self) -> None:
        """Set all channels, which must be off, to constant current at 0 A, and their own limits; all read back.

        Trips are cleared where there are any; that may switch a channel on, so all are switched off again.
        """
        for channel in self.channels:
            self._protect(channel)

    def _protect(self, channel: int) -> None:
        dialect, replies = self.dialect, self.dialect.replies
        self._select(channel)
        drop_events(self.link, dialect.status, channel=channel)
        if dialect.clear_trip and self.status(channel).tripped:
            self.link.set(fill(dialect.clear_trip, channel=channel))
            self.off(channel)
        self.link.set(fill(dialect.mode, channel=channel))
        set_value(self.link, dialect.current_limit, float(self.protection.current), replies, channel=channel)
        set_value(self.link, dialect.power_limit, float(self.protection.power), replies, channel=channel)
        set_value(self.link, dialect.level, 0.0, replies, channel=channel)

    def send_off(self, channels: Sequence[int] | None = None) -> None:
        """Send "off" at once, on a dirty link too, without waiting for anything."""
        wanted = self.channels if channels is None else tuple(channels)
        switch = self.dialect.enable.off
        if self.dialect.channel_lists:
            self.link.send_now(fill(switch, channel=",".join(str(channel) for channel in wanted)))
            return
        for channel in wanted:
            if self.dialect.select:
                self.link.send_now(fill(self.dialect.select, channel=channel))
            self.link.send_now(fill(switch, channel=channel))

    def confirm_off(self, channels: Sequence[int] | None = None) -> None:
        """Read back that channels are off, on a link brought into step where it is not.

        Raises
        ------
        OutputsNotOff : a channel is on, or does not answer.
        """
        for channel in self.channels if channels is None else channels:
            try:
                on = still_on(self.link, self.send_off, partial(self.is_on, channel))
            except BenchError as error:
                raise OutputsNotOff(f"load channel {channel} cannot be read back as off: {error}") from error
            if on:
                raise OutputsNotOff(f"load channel {channel} is still on after {self.dialect.enable.off!r}")

    def _select(self, channel: int) -> None:
        if channel not in self.channels:
            raise ValueError(f"load channel {channel} is not one of {self.channels}")
        if self.dialect.select:
            self.link.write(fill(self.dialect.select, channel=channel))
