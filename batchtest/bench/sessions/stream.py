"""Bytes in and out of a file descriptor that never blocks: each wait has a deadline, and what came is never lost."""

from __future__ import annotations

import os
import select
import time
from contextlib import suppress

from pyvisa.constants import StatusCode
from pyvisa_py.sessions import OpenError

#: Bytes asked of the kernel at once.
CHUNK = 65536


class WireError(Exception):
    """What a call comes to in place of its result, as VISA says it."""

    def __init__(self, status: StatusCode) -> None:
        super().__init__(status.name)
        self.status = status

    def at_open(self) -> OpenError:
        """The same as pyvisa-py wants it while a session opens."""
        return OpenError(self.status)


def deadline_after(seconds: float | None) -> float | None:
    """The moment of the monotonic clock after so many seconds; `None` for no end, which the station never asks for."""
    return None if seconds is None else time.monotonic() + seconds


def seconds_left(deadline: float | None) -> float | None:
    """Seconds until a deadline, 0 where it is past; `None` for no end."""
    return None if deadline is None else max(0.0, deadline - time.monotonic())


class Stream:
    """One descriptor, set to non-blocking by its owner, who also closes it.

    Attributes
    ----------
    buffer : what has arrived and nobody has taken.
    """

    def __init__(self, descriptor: int) -> None:
        self.buffer = bytearray()
        self._descriptor = descriptor
        self._readable, self._writable = select.poll(), select.poll()
        self._readable.register(descriptor, select.POLLIN)
        self._writable.register(descriptor, select.POLLOUT)

    def line(self, count: int, ending: int | None, deadline: float | None) -> tuple[bytes, StatusCode]:
        """Bytes up to and with the ending, or `count` of them.

        Raises
        ------
        WireError : time is up or the connection is lost; what came stays in the buffer.
        """
        searched = 0
        while True:
            found = -1 if ending is None else self.buffer.find(ending, searched)
            searched = len(self.buffer)
            if 0 <= found < count:
                return self.take(found + 1), StatusCode.success_termination_character_read
            if searched >= count:
                return self.take(count), StatusCode.success_max_count_read
            self.fill(deadline)

    def hold(self, count: int, deadline: float | None) -> None:
        """Wait until the buffer holds `count` bytes; raises as `line` does."""
        while len(self.buffer) < count:
            self.fill(deadline)

    def take(self, count: int) -> bytes:
        """The first `count` bytes of the buffer."""
        taken = bytes(self.buffer[:count])
        del self.buffer[:count]
        return taken

    def fill(self, deadline: float | None) -> None:
        """Add what arrives to the buffer, waiting for it until the deadline; raises as `line` does."""
        while True:
            try:
                arrived = os.read(self._descriptor, CHUNK)
            except BlockingIOError:
                if not self._ready(self._readable, deadline):
                    raise WireError(StatusCode.error_timeout) from None
                continue
            except OSError as error:
                raise WireError(StatusCode.error_connection_lost) from error
            if not arrived:
                raise WireError(StatusCode.error_connection_lost)
            self.buffer += arrived
            return

    def peek(self) -> bytes:
        """What has arrived and was not taken, left where it is; never waits, and a lost connection is no error yet."""
        with suppress(OSError):  # nothing there, or a lost connection, which the next read or write reports
            self.buffer += os.read(self._descriptor, CHUNK)
        return bytes(self.buffer)

    def send(self, data: bytes, deadline: float | None) -> tuple[int, StatusCode]:
        """Send all of `data`, or as much as the peer takes before time is up: how much, and why no more."""
        rest = memoryview(data)
        while rest:
            try:
                rest = rest[os.write(self._descriptor, rest) :]
            except BlockingIOError:
                if not self._ready(self._writable, deadline):
                    return len(data) - len(rest), StatusCode.error_timeout
            except OSError:
                return len(data) - len(rest), StatusCode.error_connection_lost
        return len(data), StatusCode.success

    @staticmethod
    def _ready(poll: select.poll, deadline: float | None) -> bool:
        left_s = seconds_left(deadline)
        if left_s is None:
            return bool(poll.poll())
        return left_s > 0 and bool(poll.poll(left_s * 1000))
