"""The guardian: a program of its own that switches the outputs off when the station dies or hangs under power.

    python -m batchtest.bench.guardian        started by `batchtest.bench.guard`, never by hand

It has links of its own. It learns of the station by a pipe on its standard input: end of file is death, silence while
armed is a hang. It stands in a session of its own and takes no notice of Ctrl-C, SIGTERM and SIGHUP: it ends when the
station says that the bench is off, or when the outputs are off after the station's end, or when it gives up on them.
"""

from __future__ import annotations

import os
import select
import signal
import sys
import time
from collections.abc import Callable, Sequence
from contextlib import suppress

from batchtest.bench.aftermath import keep, on_guard
from batchtest.bench.charge import ARM, END, SAFE, Charge, Report
from batchtest.bench.guarded import AllOff, Guarded

TREAT_AS_LIVE = "Treat the board as live: switch the supply off by hand before you touch it"


def tell(report: Report) -> None:
    """Tell the station, if it is still there."""
    with suppress(OSError):
        os.write(1, report.as_line())


def cry(text: str) -> None:
    """Say it on standard error, where somebody takes it: nothing here waits for a terminal that stands still."""
    with suppress(OSError):
        if select.select([], [2], [], 0)[1]:
            os.write(2, text.encode())


class Watch:
    """Watches one station from its charge to its end.

    Parameters
    ----------
    ears : file that the station is heard on.
    tell, cry : how the station, and a person, are told.
    """

    def __init__(
        self,
        charge: Charge,
        outputs: Sequence[Guarded],
        ears: int = 0,
        tell: Callable[[Report], None] = tell,
        cry: Callable[[str], None] = cry,
    ) -> None:
        self._charge, self._outputs = charge, outputs
        self._ears, self._tell, self._cry = ears, tell, cry
        self._armed = self._silent = self._ended = False
        self._expires = 0.0

    def run(self) -> None:
        """Until the station ends, or says that the bench is off."""
        while True:
            left_s = max(0.0, self._expires - time.monotonic()) if self._armed and not self._silent else None
            if not select.select([self._ears], [], [], left_s)[0]:
                self._hung()
                continue
            arrived = os.read(self._ears, 4096)
            if not arrived and not self._ended:
                self._act("has ended without switching off")
            if not arrived or END in arrived:
                return
            self._hear(arrived)

    def _hear(self, arrived: bytes) -> None:
        for number in arrived:
            if bytes([number]) == ARM:
                self._armed = True
                self._tell(Report(kind="armed"))
            elif bytes([number]) == SAFE:
                self._armed = False
        if self._silent and self._armed:  # it was only stopped, and may have switched on again before it knew
            self._act("moves again after a silence")
        self._silent = False
        self._expires = time.monotonic() + self._charge.heartbeat_s

    def _hung(self) -> None:
        self._silent = True
        self._act(f"has not moved for {self._charge.heartbeat_s:g} s with outputs on", self._end_station)

    def _act(self, why: str, kick: Callable[[], None] = lambda: None) -> None:
        began = time.monotonic()
        said = f"the station (process {self._charge.station}) {why}"
        self._tell(Report(kind="acting", said=said))  # what it reads from now on may be of a board that is off
        off, each = AllOff(self._outputs, kick).run()
        spent_ms = 1000 * (time.monotonic() - began)
        said += f"; {each}"
        said += f", read back after {spent_ms:.0f} ms" if off else f". {TREAT_AS_LIVE}"
        self._tell(Report(kind="acted", said=said))
        keep(self._charge.bench, self._charge.folder, said)
        self._cry(f"guardian: {said}\n")

    def _end_station(self) -> None:
        """A hung station keeps the only connection to an output: it is ended, so that the connection is dropped."""
        if os.getppid() == self._charge.station:
            with suppress(OSError):
                os.kill(self._charge.station, signal.SIGKILL)
                self._ended = True


def read_line() -> bytes:
    """The first line of standard input, and not a byte more; what there is where the station ends before it."""
    line = bytearray()
    while not line.endswith(b"\n") and (byte := os.read(0, 1)):
        line += byte
    return bytes(line)


def main() -> None:
    """Take the charge, look whether each output can be reached, and watch."""
    for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP, signal.SIGPIPE):
        signal.signal(number, signal.SIG_IGN)
    with suppress(OSError):  # where the system lets it: it sleeps until it must not wait behind anybody
        os.nice(-10)
    sys.modules.setdefault("numpy", None)  # type: ignore[arg-type]  # pyvisa takes it where it finds it: 0.1 s to start
    import batchtest.bench.sessions  # noqa: F401  # while the station opens its bench
    from batchtest.bench.visa import visa_manager

    line = read_line()
    if not line.endswith(b"\n"):
        return  # the station did not come to open its bench
    charge = Charge.of_line(line)
    with visa_manager("guardian", charge.visa) as manager, on_guard(charge.bench, charge.folder):
        guard(charge, [Guarded(manager, charged) for charged in charge.outputs])


def guard(charge: Charge, outputs: Sequence[Guarded]) -> None:
    """Look whether each output can be reached, say so, and watch; the links are closed at the end."""
    try:
        tell(Report(kind="ready", unreached={each.name: why for each in outputs if (why := each.look())}))
        Watch(charge, outputs).run()
    finally:
        for output in outputs:
            output.close()


if __name__ == "__main__":
    main()
