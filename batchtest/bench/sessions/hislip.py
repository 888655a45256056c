"""HiSLIP under pyvisa-py (IVI-6.1, synchronized mode).

The stock class waits 5 s for each step of opening whatever the caller said, starts its deadline anew with every piece
of a reply, is out of step for ever when time is up in the middle of a message, and raises RuntimeError from a device
clear that finds a late reply. This one has one deadline for each call, takes messages whole, and drops late replies by
their number, in a device clear too.
"""

from __future__ import annotations

import struct
from contextlib import suppress
from typing import Any

from pyvisa import constants
from pyvisa.constants import BufferOperation, ResourceAttribute, StatusCode
from pyvisa_py.tcpip import TCPIPInstrHiSLIP

from batchtest.bench.sessions.hislip_channel import Channel, Message
from batchtest.bench.sessions.stream import WireError, deadline_after, seconds_left
from batchtest.bench.sessions.streamed import DISCARD
from batchtest.bench.sessions.tcp import OPEN_MS

#: Port where the address names none (IVI-6.1, 2.4).
PORT = 4880
#: Longest message that we take, and what the server is taken for until it says otherwise, bytes.
MESSAGE_BYTES = 1 << 20
_HEADER_BYTES = 16
#: Where message numbers begin, after a device clear too (IVI-6.1, 3.1.2).
_FIRST_ID = 0xFFFF_FF00
#: A reply that answers no message in particular.
_ANY_ID = 0xFFFF_FFFF


class HislipSession(TCPIPInstrHiSLIP):  # type: ignore[misc]  # pyvisa-py carries no types
    """A HiSLIP session with true deadlines that is in step after each of them."""

    interface: Any

    def after_parsing(self) -> None:
        """Open both connections within the open time-out; called by the base class once the address is parsed."""
        device, _, port = self.parsed.lan_device_name.partition(",")
        address = (self.parsed.host_address, int(port or PORT))
        deadline = deadline_after((self.open_timeout or OPEN_MS) / 1000)
        assert deadline is not None
        self._reply, self._ended, self._whole = bytearray(), False, 0
        self._next_id = _FIRST_ID
        self._asked_id: int | None = None
        self._server_bytes = MESSAGE_BYTES
        self._sync = self.interface = Channel(*address, deadline)
        try:
            self._initialize(address, device, deadline)
        except WireError as error:
            self.close()
            raise error.at_open() from error
        self._set_attributes(address[1])

    def _initialize(self, address: tuple[str, int], device: str, deadline: float) -> None:
        self._sync.send("Initialize", 0, 0x0100_0000, device.encode("ascii"), deadline)
        session_id = self._sync.receive_only("InitializeResponse", deadline).parameter & 0xFFFF
        self._async = Channel(*address, deadline)
        self._async.send("AsyncInitialize", 0, session_id, b"", deadline)
        self._async.receive_only("AsyncInitializeResponse", deadline)
        self._async.send("AsyncMaxMsgSize", 0, 0, struct.pack("!Q", MESSAGE_BYTES), deadline)
        agreed = self._async.receive_only("AsyncMaxMsgSizeResponse", deadline).payload
        if len(agreed) == 8:
            self._server_bytes = max(struct.unpack("!Q", agreed)[0], 2 * _HEADER_BYTES)

    def _set_attributes(self, port: int) -> None:
        self.attrs[ResourceAttribute.tcpip_address] = self.parsed.host_address
        self.attrs[ResourceAttribute.tcpip_device_name] = self.parsed.lan_device_name
        self.attrs[ResourceAttribute.tcpip_hostname] = self.parsed.host_address
        self.attrs[ResourceAttribute.tcpip_is_hislip] = constants.VI_TRUE
        self.attrs[ResourceAttribute.tcpip_nodelay] = constants.VI_TRUE
        self.attrs[ResourceAttribute.tcpip_port] = port
        self.attrs[ResourceAttribute.send_end_enabled] = constants.VI_TRUE
        self.attrs[ResourceAttribute.suppress_end_enabled] = constants.VI_FALSE
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = constants.VI_FALSE

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send one message; what nobody read of the reply before is dropped."""
        deadline = deadline_after(self.timeout)
        delivered, self._whole = self._whole, 0
        self._drop_reply()
        size = self._server_bytes - _HEADER_BYTES
        try:
            for start in range(0, max(len(data), 1), size):
                kind = "DataEnd" if start + size >= len(data) else "Data"
                number, self._next_id = self._next_id, (self._next_id + 2) & 0xFFFF_FFFF
                self._asked_id = number
                self._sync.send(kind, delivered, number, data[start : start + size], deadline)
                delivered = 0
        except WireError as error:
            return 0, error.status
        return len(data), StatusCode.success

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """The reply to the last message up to its end, its termination character where that is enabled, or `count`.

        What was received is kept when time is up; replies to earlier messages are dropped.
        """
        deadline = deadline_after(self.timeout)
        try:
            while (length := self._readable(count)) is None:
                self._accept(self._sync.receive(deadline))
                if seconds_left(deadline) == 0 and self._readable(count) is None:
                    return b"", StatusCode.error_timeout
        except WireError as error:
            return b"", error.status
        taken = bytes(self._reply[:length])
        del self._reply[:length]
        if self._reply or not self._ended:
            ends = taken[-1:] == bytes([self.attrs[ResourceAttribute.termchar]])
            by_character = ends and self.attrs[ResourceAttribute.termchar_enabled]
            return taken, StatusCode[f"success_{'termination_character_read' if by_character else 'max_count_read'}"]
        self._ended, self._whole = False, 1
        return taken, StatusCode.success

    def _readable(self, count: int) -> int | None:
        """How many bytes a read may hand over now; `None` where it must wait."""
        if self.attrs[ResourceAttribute.termchar_enabled]:
            found = self._reply.find(self.attrs[ResourceAttribute.termchar])
            if 0 <= found < count:
                return found + 1
        if self._ended or len(self._reply) >= count:
            return min(len(self._reply), count)
        return None

    def _accept(self, message: Message) -> None:
        """Add a piece of a reply; one that answers another message makes everything before it void (IVI-6.1, 3.1.2)."""
        if message.kind in ("Data", "DataEnd"):
            if message.parameter in (_ANY_ID, self._asked_id):
                self._reply += message.payload
                self._ended = message.kind == "DataEnd"
            else:
                self._drop_reply()
        elif message.kind == "Interrupted":
            self._drop_reply()
        elif message.kind in ("Error", "FatalError"):
            raise WireError(StatusCode.error_io) from OSError(message.payload.decode("latin-1"))

    def _drop_reply(self) -> None:
        self._reply.clear()
        self._ended = False

    def waiting(self) -> bytes:
        """What has arrived of the reply to the last message and was not read; never waits."""
        with suppress(WireError):  # nothing there, or a lost connection, which the next read or write reports
            while True:
                self._accept(self._sync.receive(0.0))
        return bytes(self._reply)

    def clear(self) -> StatusCode:
        """Device clear (IVI-6.1, 3.12): the instrument drops what it was doing for us, and so do we.

        Nothing is left under way when it has succeeded, late replies included.
        """
        deadline = deadline_after(self.timeout)
        try:
            self._async.send("AsyncDeviceClear", 0, 0, b"", deadline)
            self._async.receive_only("AsyncDeviceClearAcknowledge", deadline)
            self._sync.send("DeviceClearComplete", 0, 0, b"", deadline)
            while self._sync.receive(deadline).kind != "DeviceClearAcknowledge":
                if seconds_left(deadline) == 0:
                    return StatusCode.error_timeout
        except WireError as error:
            return error.status
        self._drop_reply()
        self._next_id, self._asked_id, self._whole = _FIRST_ID, None, 0
        return StatusCode.success

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Drop what was received where the mask asks for it; nothing sent is ever held back."""
        if mask & DISCARD:
            self.waiting()
            self._drop_reply()
        return StatusCode.success

    def read_stb(self) -> tuple[int, StatusCode]:
        """The status byte."""
        deadline = deadline_after(self.timeout)
        try:
            self._async.send("AsyncStatusQuery", self._whole, self._next_id, b"", deadline)
            self._whole = 0
            return self._async.receive_only("AsyncStatusResponse", deadline).control, StatusCode.success
        except WireError as error:
            return 0, error.status

    def _set_timeout(self, attribute: ResourceAttribute, value: int) -> StatusCode:
        return super(TCPIPInstrHiSLIP, self)._set_timeout(attribute, value)  # type: ignore[no-any-return]

    def close(self) -> StatusCode:
        """Close both connections; closing twice is harmless."""
        if self.interface is not None:
            self.interface = None
            self._sync.close()
            if hasattr(self, "_async"):
                self._async.close()
        return StatusCode.success
