"""The bench supply: a voltage under a current limit, switched on and off, read back."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from batchtest.bench.dialect import AnySetting, SupplyDialect
from batchtest.bench.fresh import Fresh
from batchtest.bench.left import refuse_moved, refuse_switched, refuse_tripped
from batchtest.bench.link import NOT_ASKED, Link
from batchtest.bench.protection import WATCHDOG_S, refuse_missing
from batchtest.bench.registers import Status, drop_events, read_status, status_of, status_questions
from batchtest.bench.settings import held_by, read_switch, set_switch, set_value, state_of
from batchtest.bench.switching import still_on
from batchtest.clock import Clock
from batchtest.errors import BenchError, InstrumentRefused, OutputsNotOff
from batchtest.files.bench import Supply as SupplyFile


@dataclass(frozen=True, slots=True)
class SupplyState:
    """What the supply reads of itself: volts at its terminals, amperes out of it, whether it limits its current.

    `status` has the raw status words, `raw` the replies to the two measurements.
    """

    volts: float
    amperes: float
    limiting: bool
    status: Status
    raw: str


class Supply:
    """A bench supply of which one output is used. `permit` is asked before it goes on, and may refuse.

    Raises
    ------
    SetupError : the bench file asks for a protection that the dialect does not have.
    """

    def __init__(self, link: Link, dialect: SupplyDialect, file: SupplyFile, clock: Clock) -> None:
        self.link, self.dialect, self.file = link, dialect, file
        self.permit: Callable[[], None] = lambda: None
        self._clock = clock
        self._fresh = Fresh(link, dialect.replies)
        self._left_V: float | None = None
        self._left_A: float | None = None
        self._left_on = False
        self._chosen_at: int | None = None
        refuse_missing(
            link.name,
            file.dialect,
            {
                "protection.current": (file.protection.current, dialect.current_limit),
                "protection.watchdog": (file.protection.watchdog, dialect.watchdog),
                "sense": (file.sense, dialect.sense),
            },
        )

    def set(self, volts: float, limit_A: float) -> None:
        """Set the current limit (A), then the voltage (V), each read back."""
        self._select()
        self._left_A = None
        self._set(self.dialect.current, limit_A)
        self._left_A = limit_A
        self._set_volts(volts)

    def confirm(self) -> Status:
        """Read back that it is as it was left: switched so, set so, no protection tripped, no error; its status.

        The output is not chosen again: a key that has chosen another one shows by what that holds. While it was left
        off no setting is asked; both are set again before it goes on.

        Raises
        ------
        InstrumentRefused : somebody touched it, it restarted, or a protection has acted.
        """
        dialect, replies, name = self.dialect, self.dialect.replies, self.link.name
        if self._chosen_at != self.link.recoveries:
            self._select()
        on, volts, amperes, error, *words = self.link.ask_all(
            [
                state_of(dialect.enable),
                held_by(dialect.voltage, replies) if self._left_on else NOT_ASKED,
                held_by(dialect.current, replies) if self._left_on else NOT_ASKED,
                (dialect.errors.query, str),
                *status_questions(dialect.status, replies),
            ]
        )
        status = status_of(name, dialect.status, words)
        refuse_tripped(name, status)
        refuse_switched(name, on=on, wanted=self._left_on)
        refuse_moved(name, dialect.voltage, volts, self._left_V)
        refuse_moved(name, dialect.current, amperes, self._left_A)
        self.link.refuse_error(error)
        return status

    def confirm_protection(self) -> None:
        """Read back its own limits; raises InstrumentRefused where one is not what `protect` has set."""
        self._select()
        limits = self._limits()
        held = self.link.ask_all([held_by(limit, self.dialect.replies) for limit, _ in limits])
        for (limit, wanted), found in zip(limits, held, strict=True):
            refuse_moved(self.link.name, limit, found, wanted)

    def forget(self) -> None:
        """Nothing is known of its settings any more: it may have restarted; it counts as off."""
        self._left_V = self._left_A = self._chosen_at = None
        self._left_on = False

    def on(self) -> None:
        """Switch the output on, and read back that it is."""
        self.permit()
        self._select()
        self.link.set(self.dialect.enable.on)
        self.permit()  # somebody may have switched off meanwhile, and for a reason
        if not self.is_on():
            raise InstrumentRefused(f"{self.link.name}: output does not switch on; has it tripped?")
        self._left_on = True

    def off(self) -> None:
        """Switch the output off, and read back that it is; works on a dirty link."""
        self.send_off()
        self.confirm_off()

    def is_on(self) -> bool:
        """Whether the output is on."""
        self._select()
        return read_switch(self.link, self.dialect.enable)

    def measured(self) -> SupplyState:
        """Volts, amperes and status; a status that the dialect does not know is InstrumentRefused."""
        self._select()
        volts, volts_raw = self._fresh.read(self.dialect.volts)
        amperes, amperes_raw = self._fresh.read(self.dialect.amperes)
        status = self._status()
        raw = f"{volts_raw};{amperes_raw}"
        return SupplyState(volts, amperes, "constant current" in status.conditions, status, raw)

    def protect(self) -> None:
        """Set the output, which must be off, to 0 V, and its own limits and watchdog; all read back.

        A trip is cleared where there is one. Clearing may switch the output on at its old value: it is off and at 0 V
        before, and is switched off and read back after.
        """
        dialect = self.dialect
        self.forget()
        self._select()
        drop_events(self.link, dialect.status)
        if dialect.clear_trip and self._status().tripped:
            self._clear_trip(dialect.clear_trip)
        self._set_volts(0.0)
        for limit, value in self._limits():
            self._set(limit, value)
        if dialect.sense is not None and self.file.sense is not None:
            set_switch(self.link, dialect.sense, self.file.sense == "remote")

    def _limits(self) -> list[tuple[AnySetting, float]]:
        """What the supply itself is to guard against, as far as it can, in the order in which it is set."""
        dialect, limits = self.dialect, self.file.protection
        wanted = (
            (dialect.voltage_limit, limits.voltage),
            (dialect.current_limit, limits.current),
            (dialect.watchdog, limits.watchdog or WATCHDOG_S),
        )
        return [(limit, float(value)) for limit, value in wanted if limit is not None and value is not None]

    def _clear_trip(self, clear_trip: str) -> None:
        self._off_in_good_time()
        self._set_volts(0.0)
        self.link.set(clear_trip)
        self._off_in_good_time()
        drop_events(self.link, self.dialect.status)

    def _off_in_good_time(self) -> None:
        """Switch the output, which was selected, off, and read back that it is."""
        self.link.set(self.dialect.enable.off)
        self.confirm_off()

    def send_off(self) -> None:
        """Send "off" at once, on a dirty link too, without waiting for anything but a pause after a selection."""
        self._left_on = False
        for message, wait_s in self.dialect.off_messages():
            self.link.send_now(message)
            self._clock.sleep(wait_s)

    def confirm_off(self) -> None:
        """Read back that the output is off, on a link brought into step where it is not.

        Raises
        ------
        OutputsNotOff : it is on, or does not answer.
        """
        try:
            on = still_on(self.link, self.send_off, self._is_still_on)
        except BenchError as error:
            raise OutputsNotOff(f"supply cannot be read back as off: {error}") from error
        if on:
            raise OutputsNotOff(f"supply is still on after {self.dialect.enable.off!r}")

    def _is_still_on(self) -> bool:
        """Whether it is on although "off" was sent; where that followed a selection at once, it is sent again."""
        on = self.is_on()
        if on and self.dialect.select:
            self.link.set(self.dialect.enable.off)
            on = self.is_on()
        return on

    def _set_volts(self, volts: float) -> None:
        self._left_V = None
        self._set(self.dialect.voltage, volts)
        self._left_V = volts

    def _set(self, setting: AnySetting, value: float) -> None:
        set_value(self.link, setting, value, self.dialect.replies)

    def _status(self) -> Status:
        return read_status(self.link, self.dialect.status, self.dialect.replies)

    def _select(self) -> None:
        if self.dialect.select:
            self.link.set(self.dialect.select)
            self._clock.sleep(float(self.dialect.select_wait))
        self._chosen_at = self.link.recoveries
