"""Outputs as a guardian reaches them: over links of its own, switched off and read back, tried until time is up."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from threading import Event, Thread
from typing import TYPE_CHECKING

from batchtest.bench.charge import Charged
from batchtest.bench.dialect import LoadDialect
from batchtest.bench.link import Link
from batchtest.bench.load import Load
from batchtest.bench.supply import Supply
from batchtest.clock import ScaledClock
from batchtest.errors import BenchError, StationError
from batchtest.files import bench as tables

if TYPE_CHECKING:
    import pyvisa

#: How long an output is tried to be switched off before the guardian gives up on it, s.
GIVE_UP_S = 30.0
#: The next output waits this long at most for "off" to leave for the one before it, s.
ORDER_S = 0.02
#: Between two tries, s: short while a dead station's connection is being dropped, then longer.
SOON_S, LATER_S, SOON_FOR_S = 0.003, 0.05, 2.0


@dataclass(slots=True)
class Guarded:
    """One output with a link of the guardian's own, opened when it can be. Holds a connection."""

    manager: pyvisa.ResourceManager
    charged: Charged
    output: Load | Supply | None = None
    late: bool = False
    failed: str = ""

    @property
    def name(self) -> str:
        """Its role."""
        return self.charged.role.value

    def look(self) -> str:
        """Open the link and ask for the state; why that is not possible now, or nothing.

        An output that takes one connection only is left to the station; it is reached when that has gone.
        """
        if self.charged.alone:
            self.late = True
            return "takes one connection, and is reached only once the station's own link is closed"
        try:
            self._open()
            assert self.output is not None
            found = self.output.link.query("*IDN?").strip()
            if self.charged.identity and found != self.charged.identity:
                raise BenchError(f"answers as {found!r}")
            _is_on(self.output)
        except StationError as error:
            self.close()
            self.late = True
            return f"is reached only once the station's own link is closed, if then: {error}"
        return ""

    def switch_off(self, sent: Event, until: float, kick: Callable[[], None]) -> None:
        """Off and read back, tried until it is or the time is up; `failed` is empty, or says what was wrong last.

        Parameters
        ----------
        sent : set once "off" has left on a link that stood, or was read back on one that was opened just now.
        until : moment of the monotonic clock to give up at, s.
        kick : called after a failed try where the station's own link may be what keeps this one out.
        """
        began, self.failed = time.monotonic(), "nothing came back in time"
        while True:
            try:
                self._off(sent)
                self.failed = ""
                return
            except StationError as error:
                self.failed = str(error)
                self.close()
            if time.monotonic() >= until:
                return
            if self.late:
                kick()
            time.sleep(SOON_S if time.monotonic() - began < SOON_FOR_S else LATER_S)

    def close(self) -> None:
        """Close the link, if it is open."""
        output, self.output = self.output, None
        if output is not None:
            with suppress(StationError):  # it is gone already
                output.link.close()

    def _off(self, sent: Event) -> None:
        stood = self.output is not None
        if not stood:
            self._open()
        assert self.output is not None
        self.output.send_off()
        if stood:
            sent.set()
        self.output.confirm_off()
        sent.set()

    def _open(self) -> None:
        from batchtest.bench.adapters import port_for
        from batchtest.bench.port import Wiring

        instrument, dialect = self.charged.instrument, self.charged.dialect
        port = port_for(dialect)(self.manager, self.name, Wiring.of(instrument, self.name))
        port.open()
        link = Link(port, dialect, reply_s=float(instrument.reply), gap_s=float(instrument.gap))
        link.identity = self.charged.identity
        link.enter_remote()
        if isinstance(instrument, tables.Load):
            assert isinstance(dialect, LoadDialect)
            self.output = Load(link, dialect, instrument, ScaledClock())
        else:
            assert not isinstance(dialect, LoadDialect)
            self.output = Supply(link, dialect, instrument, ScaledClock())


def _is_on(output: Load | Supply) -> None:
    """Ask for the state of every channel."""
    if isinstance(output, Supply):
        output.is_on()
        return
    for channel in output.channels:
        output.is_on(channel)


@dataclass(slots=True)
class AllOff:
    """Switches outputs off side by side, in their order, so that one that hangs does not keep the next one on."""

    outputs: Sequence[Guarded]
    kick: Callable[[], None]
    give_up_s: float = GIVE_UP_S
    threads: list[Thread] = field(default_factory=list)

    def run(self) -> tuple[bool, str]:
        """Whether all were read back as off, and a text that says it of each."""
        until = time.monotonic() + self.give_up_s
        for output in self.outputs:
            sent = Event()
            self.threads.append(Thread(target=output.switch_off, args=(sent, until, self.kick), daemon=True))
            self.threads[-1].start()
            sent.wait(ORDER_S)
        for thread in self.threads:
            thread.join(self.give_up_s + 15.0)  # a last try has its own, finite, waits
        wrong = [output for output in self.outputs if output.failed]
        said = [
            f"{output.name} NOT OFF ({output.failed})" if output.failed else f"{output.name} off"
            for output in self.outputs
        ]
        return not wrong, ", ".join(said)
