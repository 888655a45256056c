"""The station's side of its guardian: no output goes on unless one has just answered that it watches.

While outputs may be on, a thread sends beats, but only as long as the working thread has promised to move: each message
and each wait of the bench promises its own, finite, time and a little patience. So a stopped process falls silent at
once, a working thread that hangs does when its promise is over, and no long reading is mistaken for a hang.
"""

from __future__ import annotations

import os
import select
import subprocess
import sys
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path

from batchtest.bench.charge import ARM, BEAT, END, SAFE, Charge, Charged, Report
from batchtest.clock import Clock
from batchtest.errors import BenchError

#: How long a guardian may take to start and look at its outputs, to answer, to end; and to act, real seconds.
START_S, ANSWER_S, END_S, ACT_S = 20.0, 2.0, 5.0, 60.0
#: What the working thread may spend between two messages or waits, computing or writing, real seconds.
PATIENCE_S = 5.0
#: So many beats in the time that silence may last.
BEATS = 5


class Guard:
    """Nobody watches: for benches that are told to do without, and for tests. What every guard can do.

    Attributes
    ----------
    notes : what the person should know of who watches over the outputs, one line each.
    trips : how often the guardian had to act.
    """

    def __init__(self, notes: Sequence[str] = ()) -> None:
        self.notes = tuple(notes)
        self.trips = 0

    def take_charge(self, bench: str, folder: Path, outputs: Sequence[Charged], visa: str = "@py") -> None:
        """Be told of the outputs of a bench that is open, and its kind of VISA; the log lies in `folder`.

        Raises
        ------
        BenchError : there is no watching over them.
        """

    def permit(self) -> None:
        """Be asked before an output goes on, and after.

        Raises
        ------
        BenchError : nobody watches who should, or the guardian has switched off: nothing goes on in this session.
        """

    def check(self) -> None:
        """Raise BenchError where the guardian has switched off: what is read after that is not of a powered board."""

    def promise(self, seconds: float) -> None:
        """The working thread will move again within so many real seconds, and a little."""

    def safe(self) -> None:
        """All outputs were read back as off."""

    def unsure(self) -> None:
        """An output could not be read back as off."""

    def watched(self, clock: Clock) -> Clock:
        """A clock whose waits are promised."""
        return clock


class ProcessGuard(Guard):
    """A guardian in a process of its own. Holds two pipes, and a thread that sends beats."""

    def __init__(self, heartbeat_s: float, notes: Sequence[str] = ()) -> None:
        super().__init__(notes)
        self.heartbeat_s = heartbeat_s
        self.process = subprocess.Popen(
            [sys.executable, "-m", "batchtest.bench.guardian"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            bufsize=0,
            start_new_session=True,
        )
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self._to, self._from = self.process.stdin, self.process.stdout
        self._told = select.poll()
        self._told.register(self._from, select.POLLIN)
        self._received = b""
        self._said = ""
        self._charged = self._gone = self._armed = self._safe = False
        self._promised = 0.0
        self._over = threading.Event()
        self._beats = threading.Thread(target=self._beat, name="beats", daemon=True)

    def take_charge(self, bench: str, folder: Path, outputs: Sequence[Charged], visa: str = "@py") -> None:
        """Hand over the outputs, and wait until the guardian has looked at each."""
        charge = Charge(
            station=os.getpid(),
            bench=bench,
            folder=folder.resolve(),
            heartbeat_s=self.heartbeat_s,
            outputs=tuple(outputs),
            visa=visa,
        )
        self._charged = True
        self._send(charge.as_line())
        ready = self._await("ready", START_S)
        if ready is None:
            raise BenchError(
                f"the guardian of bench {bench!r} did not start within {START_S:.0f} s, and without one nothing is "
                "powered; try `python -m batchtest.bench.guardian < /dev/null`, which must end without a word"
            )
        self.notes += tuple(f"guardian: {role} {why}" for role, why in ready.unreached.items())
        self._beats.start()

    def permit(self) -> None:
        """Raise BenchError unless the guardian watches; where nothing was on yet, it must answer that it does now."""
        self.promise(ANSWER_S)
        self.check()
        if not self._armed and not self._gone:
            self._armed, self._safe = True, False
            self._send(ARM)
            self._gone |= self._await("armed", ANSWER_S) is None
        if self._gone:
            raise BenchError(
                f"the guardian (process {self.process.pid}) has ended or does not answer; without one nothing is "
                "powered. Start the batch again"
            )

    def check(self) -> None:
        """Raise BenchError where the guardian has switched the outputs off."""
        self._listen(0.0)
        if self.trips:
            raise BenchError(f"the guardian switched the outputs off: {self._said}. Start the batch again")

    def promise(self, seconds: float) -> None:
        """The working thread moves again within so many real seconds and its patience, or the beats end."""
        self._promised = time.monotonic() + seconds + PATIENCE_S

    def safe(self) -> None:
        """All outputs were read back as off: there is nothing to watch until the next permit."""
        self._safe = True
        if self._armed:
            self._armed = False
            self._send(SAFE)

    def unsure(self) -> None:
        """An output could not be read back as off: where it stays so, the guardian gets it at the end."""
        self._safe = False

    def watched(self, clock: Clock) -> Clock:
        """A clock whose waits are promised."""
        return _PromisingClock(clock, self)

    def close(self) -> None:
        """End the guardian where the outputs are off; where they are not known to be, leave them to it."""
        self._over.set()
        leave = self._charged and not self._safe and not self._gone
        if not self._charged:
            self.process.kill()
        elif not leave:
            self._send(END)
        with suppress(OSError):
            self._to.close()
        try:
            self.process.wait(ACT_S if leave else END_S)
        except subprocess.TimeoutExpired:
            self.process.kill()
            self.process.wait()
        self._from.close()
        if self._beats.ident is not None:
            self._beats.join()

    def _beat(self) -> None:
        while not self._over.wait(self.heartbeat_s / BEATS):
            if self._armed and time.monotonic() < self._promised:
                self._send(BEAT)

    def _send(self, message: bytes) -> None:
        try:
            self._to.write(message)
        except (OSError, ValueError):
            self._gone = True

    def _await(self, kind: str, within_s: float) -> Report | None:
        deadline = time.monotonic() + within_s
        while (left_s := deadline - time.monotonic()) > 0 and not self._gone:
            for report in self._listen(left_s):
                if report.kind == kind:
                    return report
        return None

    def _listen(self, within_s: float) -> list[Report]:
        """What the guardian has said, waiting for it at most so long."""
        if self._gone or not self._told.poll(1000 * within_s):
            return []
        arrived = self._from.read(65536)
        self._gone |= not arrived
        *lines, self._received = (self._received + (arrived or b"")).split(b"\n")
        reports = [Report.of_line(line) for line in lines]
        for report in reports:
            self.trips += report.kind == "acting"
            if report.said and self.trips == 1:
                self._said = report.said
        return reports


class _PromisingClock:
    """A clock that promises its waits to a guard, before it waits."""

    def __init__(self, clock: Clock, guard: Guard) -> None:
        self._clock, self._guard = clock, guard

    def now(self) -> float:
        return self._clock.now()

    def sleep(self, seconds: float) -> None:
        self._guard.promise(max(0.0, seconds))
        self._clock.sleep(seconds)
        self._guard.promise(0.0)

    def wait_until(self, moment: float) -> None:
        self._guard.promise(max(0.0, moment - self._clock.now()))
        self._clock.wait_until(moment)
        self._guard.promise(0.0)


@contextmanager
def guardian(heartbeat_s: float, notes: Sequence[str] = ()) -> Iterator[ProcessGuard]:
    """Start a guardian, and see it off at the end; it has nothing to watch until it is given its charge."""
    guard = ProcessGuard(heartbeat_s, notes)
    try:
        yield guard
    finally:
        guard.close()
