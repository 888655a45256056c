"""Our own session class for raw TCP sockets under pyvisa-py, put into its registry by `install`.

The stock class opens refused ports without complaint, has no overall deadline, spins on a closed connection and loses
what it had received when time is up. This one waits with `poll`, keeps every byte, sees an end of file at once, and
sends without delay. pyvisa-py is held to the range it was tested on; a test fails when its base class changes shape.
"""

from __future__ import annotations

import os
import select
import socket
import time
from contextlib import suppress
from typing import Any

from pyvisa import constants
from pyvisa.constants import BufferOperation, ResourceAttribute, StatusCode
from pyvisa_py.sessions import OpenError, Session
from pyvisa_py.tcpip import TCPIPSocketSession

#: Open time-out where the caller gave none, ms.
OPEN_MS = 5000
#: Bytes asked of the kernel at once.
CHUNK = 65536
#: A silent peer is looked for after 5 s, then each 2 s; after 3 looks without an answer the connection is lost.
_KEEPALIVE = (("TCP_KEEPIDLE", 5), ("TCP_KEEPINTVL", 2), ("TCP_KEEPCNT", 3))


class SocketSession(TCPIPSocketSession):  # type: ignore[misc]  # pyvisa-py carries no types
    """A TCPIP SOCKET session with true deadlines that loses no bytes."""

    interface: Any

    def after_parsing(self) -> None:
        """Connect within the open time-out; called by the base class once the address is parsed."""
        self.interface = self._connected()
        self.max_recv_size = CHUNK
        self._pending_buffer = bytearray()
        self._owner_pid = os.getpid()
        self._readable, self._writable = select.poll(), select.poll()
        self._readable.register(self.interface, select.POLLIN)
        self._writable.register(self.interface, select.POLLOUT)
        self._set_attributes()

    def _connected(self) -> socket.socket:
        address = (self.parsed.host_address, int(self.parsed.port))
        try:
            link = socket.create_connection(address, (self.open_timeout or OPEN_MS) / 1000)
        except TimeoutError as error:
            raise OpenError(StatusCode.error_timeout) from error
        except OSError as error:
            raise OpenError(StatusCode.error_resource_not_found) from error
        link.setblocking(False)
        link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        link.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
        for option, value in _KEEPALIVE:
            if hasattr(socket, option):
                link.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), value)
        return link

    def _set_attributes(self) -> None:
        self.attrs[ResourceAttribute.tcpip_address] = self.parsed.host_address
        self.attrs[ResourceAttribute.tcpip_port] = self.parsed.port
        self.attrs[ResourceAttribute.interface_number] = self.parsed.board
        self.attrs[ResourceAttribute.tcpip_hostname] = ""
        self.attrs[ResourceAttribute.tcpip_nodelay] = (self._get_tcpip_nodelay, self._set_nodelay)
        self.attrs[ResourceAttribute.tcpip_keepalive] = (self._get_tcpip_keepalive, self._set_tcpip_keepalive)
        self.attrs[ResourceAttribute.suppress_end_enabled] = True
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = constants.VI_FALSE

    def _set_nodelay(self, _attribute: ResourceAttribute, state: bool) -> StatusCode:
        self.interface.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, int(state))
        return StatusCode.success

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """Bytes up to and with the termination character, or `count` of them.

        Nothing is handed over when time is up or the connection is lost: what was received stays in the buffer.
        """
        ending = self.attrs[ResourceAttribute.termchar] if self.attrs[ResourceAttribute.termchar_enabled] else None
        deadline = self._deadline()
        searched = 0
        while True:
            found = -1 if ending is None else self._pending_buffer.find(ending, searched)
            searched = len(self._pending_buffer)
            if 0 <= found < count:
                return self._taken(found + 1), StatusCode.success_termination_character_read
            if searched >= count:
                return self._taken(count), StatusCode.success_max_count_read
            status = self._received(deadline)
            if status is not StatusCode.success:
                return b"", status

    def _taken(self, count: int) -> bytes:
        taken = bytes(self._pending_buffer[:count])
        del self._pending_buffer[:count]
        return taken

    def _received(self, deadline: float | None) -> StatusCode:
        """Add what arrives to the buffer, waiting for it until the deadline; a drip does not move the deadline."""
        while True:
            try:
                arrived = self.interface.recv(CHUNK)
            except BlockingIOError:
                if not self._ready(self._readable, deadline):
                    return StatusCode.error_timeout
                continue
            except OSError:
                return StatusCode.error_connection_lost
            if not arrived:
                return StatusCode.error_connection_lost
            self._pending_buffer += arrived
            return StatusCode.success

    def _deadline(self) -> float | None:
        return None if self.timeout is None else time.monotonic() + self.timeout

    @staticmethod
    def _ready(poll: select.poll, deadline: float | None) -> bool:
        if deadline is None:
            return bool(poll.poll())
        left_s = deadline - time.monotonic()
        return left_s > 0 and bool(poll.poll(left_s * 1000))

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send all of `data`, or as much as the peer takes before time is up."""
        deadline = self._deadline()
        sent = 0
        while sent < len(data):
            try:
                sent += self.interface.send(memoryview(data)[sent:])
            except BlockingIOError:
                if not self._ready(self._writable, deadline):
                    return sent, StatusCode.error_timeout
            except OSError:
                return sent, StatusCode.error_connection_lost
        return sent, StatusCode.success

    def waiting(self) -> bytes:
        """What has arrived and was not read, left where it is; never waits."""
        with suppress(OSError):  # nothing there, or a lost connection, which the next read or write reports
            self._pending_buffer += self.interface.recv(CHUNK)
        return bytes(self._pending_buffer)

    def clear(self) -> StatusCode:
        """Drop what has arrived; a raw socket has no device clear, the instrument is not told."""
        self.waiting()
        self._pending_buffer.clear()
        return StatusCode.success

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Drop received bytes where the mask asks for it; nothing sent is ever held back."""
        discard = BufferOperation.discard_read_buffer | BufferOperation.discard_read_buffer_no_io
        if mask & (discard | BufferOperation.discard_receive_buffer | BufferOperation.discard_receive_buffer2):
            self.clear()
        return StatusCode.success

    def close(self) -> StatusCode:
        """Close the connection, for the peer too; a forked child leaves its parent's open."""
        if self.interface is None:
            return StatusCode.success
        link, self.interface = self.interface, None
        if os.getpid() == self._owner_pid:
            with suppress(OSError):  # the peer was first
                link.shutdown(socket.SHUT_RDWR)
        link.close()
        return StatusCode.success


def install() -> None:
    """Put our session class into pyvisa-py's registry, once."""
    key = (constants.InterfaceType.tcpip, "SOCKET")
    if Session.get_session_class(*key) is not SocketSession:
        del Session._session_classes[key]  # its `register` warns of a class that is already there
        Session.register(*key)(SocketSession)
