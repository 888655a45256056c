"""Instruments in the client's own process, without socket or thread: for tests on a clock that jumps.

The bench still goes through VISA. Addresses are of a kind that the station never uses otherwise, and only what is
registered here is found by them. A message is carried out, and its reply waited for, while it is being sent; so a
reply that is not there when it is read will never come, and the read times out at once.
"""

from __future__ import annotations

import time
from itertools import count

from pyvisa import constants
from pyvisa.constants import BufferOperation, InterfaceType, ResourceAttribute, StatusCode
from pyvisa_py.sessions import OpenError, Session

from batchtest.bench.sessions import register
from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.server import Server

_NUMBERS = count(1)
_SERVERS: dict[str, DirectServer] = {}


class DirectServer(Server):
    """An instrument that is called by its clients."""

    def __init__(self, instrument: Served, clock: Clock) -> None:
        super().__init__(instrument, clock)
        self._refused_until = 0.0
        self._name = f"{instrument.role}-{next(_NUMBERS)}"
        _SERVERS[self._name] = self
        register(InterfaceType.usb, "RAW", DirectSession)

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"USB0::0x0000::0x0000::{self._name}::0::RAW"

    def stop(self) -> None:
        """Be found no more, and answer no more; again does nothing."""
        self._stopping.set()
        _SERVERS.pop(self._name, None)

    def _refuse(self, seconds: float) -> None:
        self._refused_until = time.monotonic() + seconds

    @property
    def refuses(self) -> bool:
        """Whether it lets nobody in just now."""
        return time.monotonic() < self._refused_until

    @property
    def stopped(self) -> bool:
        """Whether it answers no more."""
        return self._stopping.is_set()

    def answer(self, exchange: Exchange, message: bytes | None, replies: bytearray) -> bool:
        """Carry out one message, its reply put to the others; `False` where the connection is lost."""
        return self._answer(exchange, message, replies.extend)


class DirectSession(Session):  # type: ignore[misc]  # pyvisa-py carries no types
    """One client's connection to an instrument of the same process."""

    def after_parsing(self) -> None:
        """Find the instrument; called by the base class once the address is parsed."""
        server = _SERVERS.get(self.parsed.serial_number)
        if server is None or server.refuses:
            raise OpenError(StatusCode.error_resource_not_found)
        self._server = server
        self._framer, self._exchange = server.instrument.framer(), Exchange(server.instrument)
        self._replies = bytearray()
        self._lost = False
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = constants.VI_FALSE
        self.attrs[ResourceAttribute.suppress_end_enabled] = constants.VI_FALSE

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Have every message in `data` carried out."""
        if self._gone:
            return 0, StatusCode.error_connection_lost
        for message in self._framer.feed(data):
            if not self._server.answer(self._exchange, message, self._replies):
                self._lost = True
                break
        return len(data), StatusCode.success

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Bytes up to and with the termination character, or `count` of them; without, time is up at once."""
        found = self._replies.find(self.attrs[ResourceAttribute.termchar], 0, count) + 1
        length = found or (count if len(self._replies) >= count else 0)
        if not length:
            return b"", StatusCode.error_connection_lost if self._gone else StatusCode.error_timeout
        taken = bytes(self._replies[:length])
        del self._replies[:length]
        return taken, StatusCode.success_termination_character_read if found else StatusCode.success_max_count_read

    @property
    def _gone(self) -> bool:
        return self._lost or self._server.stopped

    def waiting(self) -> bytes:
        """What has arrived and was not read, left where it is."""
        return bytes(self._replies)

    def clear(self) -> StatusCode:
        """Drop what has arrived."""
        self._replies.clear()
        return StatusCode.success

    def flush(self, mask: BufferOperation) -> StatusCode:
        """As `clear`, whatever the mask."""
        return self.clear()

    def close(self) -> StatusCode:
        """Nothing is held."""
        return StatusCode.success

    def _get_attribute(self, attribute: ResourceAttribute) -> tuple[object, StatusCode]:
        return None, StatusCode.error_nonsupported_attribute

    def _set_attribute(self, attribute: ResourceAttribute, attribute_state: object) -> StatusCode:
        return StatusCode.error_nonsupported_attribute
