"""Instruments on a pseudo-terminal: what a client opens is a serial line, as slow as the baud rate it sets."""

from __future__ import annotations

import os
import select
import termios
import threading
import tty

from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.server import Server

#: Bits of a byte on the line: start, eight of data, stop.
_BITS_PER_BYTE = 10
#: Longest wait for a client that does not read, after which a server looks whether it is to stop, ms.
_LOOK_MS = 100
_BAUDS = {getattr(termios, name): int(name[1:]) for name in dir(termios) if name[0] == "B" and name[1:].isdecimal()}


class PtyServer(Server):
    """An instrument on a serial line. There is no connection to close: a dropped reply is not sent.

    `baud` is what a client finds set that sets nothing itself; `None` for 9600.
    """

    def __init__(self, instrument: Served, clock: Clock, baud: int | None = None) -> None:
        super().__init__(instrument, clock)
        # the slave end stays open, so that the line lives on when its client has gone
        self._master, self._slave = os.openpty()
        tty.setraw(self._master)
        tty.setraw(self._slave)
        self._set_baud(baud or 9600)
        os.set_blocking(self._master, False)
        self._path = os.ttyname(self._slave)
        self._wake, self._woken = os.pipe()
        self._thread = threading.Thread(target=self._serve, name=f"{instrument.role} line", daemon=True)
        self._thread.start()

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"ASRL{self._path}::INSTR"

    @property
    def baud(self) -> int:
        """The rate that the client has set."""
        return _BAUDS.get(termios.tcgetattr(self._slave)[5], 9600)

    def _set_baud(self, baud: int) -> None:
        settings = termios.tcgetattr(self._slave)
        settings[4] = settings[5] = getattr(termios, f"B{baud}", termios.B9600)
        termios.tcsetattr(self._slave, termios.TCSANOW, settings)

    def _refuse(self, seconds: float) -> None:
        """Nothing: whoever has the line has it."""

    def stop(self) -> None:
        """Hang up: a client sees a lost line; again does nothing."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        os.write(self._woken, b"x")
        self._thread.join()
        for descriptor in (self._master, self._slave, self._wake, self._woken):
            os.close(descriptor)

    def _serve(self) -> None:
        framer, exchange = self.instrument.framer(), Exchange(self.instrument)
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        poll.register(self._wake, select.POLLIN)
        while not self._stopping.is_set():
            poll.poll()
            try:
                data = os.read(self._master, 65536)
            except OSError:  # woken, or nothing there
                continue
            self._pass_by(len(data))
            for message in framer.feed(data):
                self._answer(exchange, message, self._send)

    def _interrupted(self) -> bool:
        poll = select.poll()
        poll.register(self._master, select.POLLIN)
        return bool(poll.poll(0))

    def _pass_by(self, count: int) -> None:
        """Wait as long as so many bytes are on the line."""
        self._wait_until(self._clock.now() + count * _BITS_PER_BYTE / self.baud)

    def _send(self, data: bytes) -> None:
        self._pass_by(len(data))
        poll = select.poll()
        poll.register(self._master, select.POLLOUT)
        rest = memoryview(data)
        while rest and not self._stopping.is_set():
            try:
                rest = rest[os.write(self._master, rest) :]
            except BlockingIOError:
                poll.poll(_LOOK_MS)
            except OSError:
                return
