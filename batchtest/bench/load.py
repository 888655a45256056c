"""The electronic load: constant current on each of its channels, with its own limits of current and power."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal
from functools import partial

from batchtest.bench.channels_left import ChannelsLeft
from batchtest.bench.dialect import AnySetting, LoadDialect
from batchtest.bench.left import refuse_moved
from batchtest.bench.link import Link
from batchtest.bench.protection import ON_TIMER_S, UNDER_VOLTAGE_V, refuse_missing
from batchtest.bench.registers import Status, drop_events, read_status
from batchtest.bench.settings import held_by, read_switch, read_value, set_switch, set_value
from batchtest.bench.switching import still_on
from batchtest.bench.templates import fill
from batchtest.clock import Clock
from batchtest.errors import BenchError, InstrumentRefused, OutputsNotOff, SetupError
from batchtest.files.bench import Load as LoadFile
from batchtest.quantities import show


@dataclass(frozen=True, slots=True)
class LoadState:
    """What one channel sees: volts at its terminals, amperes it draws, its status."""

    volts: float
    amperes: float
    status: Status


class Load:
    """An electronic load in constant current. `permit` is asked before a channel goes on, and may refuse.

    Raises
    ------
    SetupError : the bench file asks for a protection that the dialect does not have.
    """

    def __init__(self, link: Link, dialect: LoadDialect, file: LoadFile, clock: Clock) -> None:
        self.link, self.dialect, self.file = link, dialect, file
        self.channels = tuple(range(1, file.channels + 1))
        self.permit: Callable[[], None] = lambda: None
        self._clock = clock
        self._left = ChannelsLeft(link, dialect, file)
        self._chosen: tuple[int, int] | None = None
        refuse_missing(
            link.name,
            file.dialect,
            {
                "protection.under_voltage": (file.protection.under_voltage, dialect.under_voltage),
                "protection.on_timer": (file.protection.on_timer, dialect.on_timer),
                "slew": (file.slew, dialect.slew),
                "sense": (file.sense, dialect.sense),
            },
        )

    def set_current(self, channel: int, amperes: float) -> None:
        """Set the current of a channel, A, and read it back."""
        self._select(channel)
        self._set_level(channel, amperes)

    def on(self, channel: int) -> None:
        """Switch a channel on, and read back that it is; in constant current, which is read back first."""
        self.permit()
        self._select(channel)
        self._hold_mode(channel)
        self.link.set(self._filled(self.dialect.enable.on, channel))
        self.permit()  # somebody may have switched off meanwhile, and for a reason
        if not self.is_on(channel):
            raise InstrumentRefused(f"{self.link.name}: channel {channel} does not switch on; has it tripped?")
        self._left.on.add(channel)

    def off(self, channel: int | None = None) -> None:
        """Switch a channel off, or all of them, and read back that they are; works on a dirty link."""
        channels = self.channels if channel is None else (channel,)
        self.send_off(channels)
        self.confirm_off(channels)

    def is_on(self, channel: int) -> bool:
        """Whether a channel's input is on."""
        self._select(channel)
        return read_switch(self.link, self.dialect.enable, channel=str(channel))

    def measured(self, channel: int) -> LoadState:
        """Volts, amperes and status of a channel, as the load itself sees them.

        Raises
        ------
        InstrumentRefused : its status shows what the dialect does not know.
        """
        self._select(channel)
        replies, name = self.dialect.replies, str(channel)
        volts = read_value(self.link, self.dialect.volts, replies, channel=name)
        amperes = read_value(self.link, self.dialect.amperes, replies, channel=name)
        return LoadState(volts, amperes, self._status(channel))

    def confirm(self, drawing: int | None = None) -> Status:
        """Read back that the channels are as they were left; their status, as `ChannelsLeft.confirm` has it.

        All of them, where one message can ask that; else `drawing`, or the one that was chosen last.

        Parameters
        ----------
        drawing : the channel at a point that was just read, whose current is compared with what it is set to.
        """
        if self.dialect.joins and not self.dialect.select:
            return self._left.confirm(self.channels, drawing)
        channel = drawing or (self._chosen[0] if self._chosen else self.channels[0])
        if self._chosen != (channel, self.link.recoveries):
            self._select(channel)
        return self._left.confirm((channel,), drawing)

    def confirm_protection(self) -> None:
        """Read back each channel's own limits; raises InstrumentRefused where one is not what `protect` has set."""
        for channel in self.channels:
            self._select(channel)
            name, limits = f"{self.link.name} channel {channel}", self._limits()
            asked = [held_by(limit, self.dialect.replies, channel=str(channel)) for limit, _ in limits]
            for (limit, wanted), held in zip(limits, self.link.ask_all(asked), strict=True):
                refuse_moved(name, limit, held, wanted)

    def forget(self) -> None:
        """Nothing is known of its settings any more: it may have restarted; all channels count as off."""
        self._left.forget()
        self._chosen = None

    def status(self, channel: int) -> Status:
        """Status of a channel; what the dialect does not know is InstrumentRefused."""
        self._select(channel)
        return self._status(channel)

    def protect(self) -> None:
        """Set all channels, which must be off, to constant current at 0 A, and their own limits; all read back.

        Trips are cleared where there are any. Clearing may switch a channel on at its old value: it is off and at 0 A
        before, and is switched off and read back after.
        """
        self.forget()
        for channel in self.channels:
            self._clear_trip(channel)
            self._protect(channel)

    def limit(self, amperes: float, watts: float) -> None:
        """Set other limits of its own than the bench file's, in all channels, which must be off; as `protect` does."""
        limits = {"current": Decimal(repr(amperes)), "power": Decimal(repr(watts))}
        protection = self.file.protection.model_copy(update=limits)
        self.file = self.file.model_copy(update={"protection": protection})
        self.protect()

    def _clear_trip(self, channel: int) -> None:
        dialect = self.dialect
        self._select(channel)
        drop_events(self.link, dialect.status, channel=str(channel))
        if dialect.clear_trip and self._status(channel).tripped:
            self._off_in_good_time(channel)
            self._set_level(channel, 0.0)
            self.link.set(self._filled(dialect.clear_trip, channel))
            self._off_in_good_time(channel)
            drop_events(self.link, dialect.status, channel=str(channel))

    def _off_in_good_time(self, channel: int) -> None:
        """Switch a channel that was selected off, and read back that it is."""
        self.link.set(self._filled(self.dialect.enable.off, channel))
        self.confirm_off((channel,))

    def _protect(self, channel: int) -> None:
        dialect, name = self.dialect, str(channel)
        self._set_mode(channel)
        if dialect.range:
            self.link.set(fill(dialect.range, channel=name, range=self._range()))
        for limit, value in self._limits():
            set_value(self.link, limit, value, dialect.replies, channel=name)
        self._set_level(channel, 0.0)
        if dialect.sense is not None and self.file.sense is not None:
            set_switch(self.link, dialect.sense, self.file.sense == "remote", channel=name)

    def _limits(self) -> list[tuple[AnySetting, float]]:
        """What the load itself is to guard against, as far as it can, in the order in which it is set."""
        dialect, limits = self.dialect, self.file.protection
        wanted = (
            (dialect.current_limit, limits.current),
            (dialect.power_limit, limits.power),
            (dialect.under_voltage, limits.under_voltage or UNDER_VOLTAGE_V),
            (dialect.on_timer, limits.on_timer or ON_TIMER_S),
            *((slew, self.file.slew) for slew in dialect.slew),
        )
        return [(limit, float(value)) for limit, value in wanted if limit is not None and value is not None]

    def _set_mode(self, channel: int) -> None:
        """Constant current; on many loads that drops the input, so that it comes before everything else."""
        mode, name = self.dialect.mode, str(channel)
        self.link.set(fill(mode.set, channel=name, range=self._range()))
        if mode.query and not self._in_mode(channel):
            raise InstrumentRefused(
                f"{self.link.name}: channel {channel} is not in constant current after {mode.set!r}"
            )

    def _hold_mode(self, channel: int) -> None:
        """Choose constant current again, and the current with it, where somebody changed it at the front panel."""
        if self.dialect.mode.query and not self._in_mode(channel):
            amperes = self._left.amperes.get(channel, 0.0)
            self._set_mode(channel)
            self._set_level(channel, amperes)

    def _in_mode(self, channel: int) -> bool:
        query = self._filled(self.dialect.mode.query, channel)
        return self.link.query(query).strip() in self.dialect.mode.words

    def _range(self) -> str:
        current = float(self.file.protection.current)
        found = self.dialect.range_for(current)
        if found is None:
            raise SetupError(
                f"{self.link.name}: no range of dialect {self.file.dialect!r} holds the current limit of "
                f"{show(current, 'A')}; lower protection.current"
            )
        return found

    def _set_level(self, channel: int, amperes: float) -> None:
        self._left.amperes.pop(channel, None)
        set_value(self.link, self.dialect.level, amperes, self.dialect.replies, channel=str(channel))
        self._left.amperes[channel] = amperes

    def _status(self, channel: int) -> Status:
        return read_status(self.link, self.dialect.status, self.dialect.replies, channel=str(channel))

    def send_off(self, channels: Sequence[int] | None = None) -> None:
        """Send "off" at once, on a dirty link too, without waiting for anything but a pause after a selection."""
        wanted = self.channels if channels is None else tuple(channels)
        self._left.on -= set(wanted)
        self._chosen = None
        for message, wait_s in self.dialect.off_messages(wanted):
            self.link.send_now(message)
            self._clock.sleep(wait_s)

    def confirm_off(self, channels: Sequence[int] | None = None) -> None:
        """Read back that channels are off, on a link brought into step where it is not.

        Raises
        ------
        OutputsNotOff : a channel is on, or does not answer.
        """
        for channel in self.channels if channels is None else channels:
            try:
                on = still_on(self.link, self.send_off, partial(self._is_still_on, channel))
            except BenchError as error:
                raise OutputsNotOff(f"load channel {channel} cannot be read back as off: {error}") from error
            if on:
                raise OutputsNotOff(f"load channel {channel} is still on after {self.dialect.enable.off!r}")

    def _is_still_on(self, channel: int) -> bool:
        """Whether a channel is on although "off" was sent; after a selection, that is sent again in good time."""
        on = self.is_on(channel)
        if on and self.dialect.select:
            self.link.set(self._filled(self.dialect.enable.off, channel))
            on = self.is_on(channel)
        return on

    def _select(self, channel: int) -> None:
        if channel not in self.channels:
            raise ValueError(f"load channel {channel} is not one of {self.channels}")
        if self.dialect.select:
            self.link.set(self._filled(self.dialect.select, channel))
            self._clock.sleep(float(self.dialect.select_wait))
        self._chosen = (channel, self.link.recoveries)

    def _filled(self, template: str, channel: int) -> str:
        return fill(template, channel=str(channel))
