"""The bench supply: a voltage under a current limit, switched on and off, read back."""

from __future__ import annotations

from dataclasses import dataclass

from batchtest.bench.dialect import SupplyDialect
from batchtest.bench.link import Link
from batchtest.bench.replies import parse_state
from batchtest.bench.settings import Status, drop_events, read_status, read_value, set_value
from batchtest.bench.switching import still_on
from batchtest.errors import BenchError, InstrumentRefused, OutputsNotOff
from batchtest.files.bench import SupplyProtection


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
    """A bench supply with one output."""

    def __init__(self, link: Link, dialect: SupplyDialect, protection: SupplyProtection) -> None:
        self.link, self.dialect, self.protection = link, dialect, protection

    def set(self, volts: float, limit_A: float) -> None:
        """Set the current limit (A), then the voltage (V), each read back."""
        replies = self.dialect.replies
        set_value(self.link, self.dialect.current, limit_A, replies)
        set_value(self.link, self.dialect.voltage, volts, replies)

    def on(self) -> None:
        """Switch the output on, and read back that it is."""
        self.link.set(self.dialect.enable.on)
        if not self.is_on():
            raise InstrumentRefused(f"{self.link.name}: output does not switch on; has it tripped?")

    def off(self) -> None:
        """Switch the output off, and read back that it is; works on a dirty link."""
        self.send_off()
        self.confirm_off()

    def is_on(self) -> bool:
        """Whether the output is on."""
        switch = self.dialect.enable
        return self.link.ask(switch.query, lambda reply: parse_state(reply, switch.on_words, switch.off_words))

    def measured(self) -> SupplyState:
        """Volts, amperes and status; an unknown status bit is InstrumentRefused."""
        texts: list[str] = []
        volts = read_value(self.link, self.dialect.volts, self.dialect.replies, keep=texts.append)
        amperes = read_value(self.link, self.dialect.amperes, self.dialect.replies, keep=texts.append)
        status = read_status(self.link, self.dialect.status)
        return SupplyState(volts, amperes, "constant current" in status.conditions, status, ";".join(texts))

    def protect(self) -> None:
        """Set the output, which must be off, to 0 V, and its own over-voltage limit; both read back.

        A trip is cleared where there is one; that may switch the output on, so it is switched off again.
        """
        drop_events(self.link, self.dialect.status)
        if self.dialect.clear_trip and read_status(self.link, self.dialect.status).tripped:
            self.link.set(self.dialect.clear_trip)
            self.off()
        set_value(self.link, self.dialect.voltage, 0.0, self.dialect.replies)
        set_value(self.link, self.dialect.voltage_limit, float(self.protection.voltage), self.dialect.replies)

    def send_off(self) -> None:
        """Send "off" at once, on a dirty link too, without waiting for anything."""
        self.link.send_now(self.dialect.enable.off)

    def confirm_off(self) -> None:
        """Read back that the output is off, on a link brought into step where it is not.

        Raises
        ------
        OutputsNotOff : it is on, or does not answer.
        """
        try:
            on = still_on(self.link, self.send_off, self.is_on)
        except BenchError as error:
            raise OutputsNotOff(f"supply cannot be read back as off: {error}") from error
        if on:
            raise OutputsNotOff(f"supply is still on after {self.dialect.enable.off!r}")
