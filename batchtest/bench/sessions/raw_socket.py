"""Raw TCP sockets under pyvisa-py.

The stock class opens refused ports without complaint, has no overall deadline, spins on a closed connection and loses
what it had received when time is up. This one keeps every byte, sees an end of file at once, and sends without delay.
"""

from __future__ import annotations

import os
import socket
from typing import Any

from pyvisa import constants
from pyvisa.constants import ResourceAttribute, StatusCode
from pyvisa_py.tcpip import TCPIPSocketSession

from batchtest.bench.sessions.stream import CHUNK, Stream, deadline_after
from batchtest.bench.sessions.streamed import Streamed
from batchtest.bench.sessions.tcp import OPEN_MS, connected, disconnect


class SocketSession(Streamed, TCPIPSocketSession):  # type: ignore[misc]  # pyvisa-py carries no types
    """A TCPIP SOCKET session with true deadlines that loses no bytes."""

    interface: Any

    def after_parsing(self) -> None:
        """Connect within the open time-out; called by the base class once the address is parsed."""
        deadline = deadline_after((self.open_timeout or OPEN_MS) / 1000)
        assert deadline is not None
        self.interface = connected(self.parsed.host_address, int(self.parsed.port), deadline)
        self.max_recv_size = CHUNK
        self._owner_pid = os.getpid()
        self._stream = Stream(self.interface.fileno())
        self._set_attributes()

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

    def _ending(self) -> int | None:
        return self.attrs[ResourceAttribute.termchar] if self.attrs[ResourceAttribute.termchar_enabled] else None

    def close(self) -> StatusCode:
        """Close the connection, for the peer too; a forked child leaves its parent's open."""
        if self.interface is not None:
            link, self.interface = self.interface, None
            disconnect(link, self._owner_pid)
        return StatusCode.success
