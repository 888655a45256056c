"""VXI-11 under pyvisa-py (VXI-11 1.0, core channel).

The stock class waits for the port mapper and for each call as long as these please, and takes an answer that comes
late for a lost connection. This one has one deadline for each call, and drops late answers by their number.
"""

from __future__ import annotations

import os
import struct
from contextlib import suppress
from typing import Any

from pyvisa import constants
from pyvisa.constants import BufferOperation, ResourceAttribute, StatusCode
from pyvisa_py.protocols import vxi11
from pyvisa_py.tcpip import VXI11_ERRORS_TO_VISA, TCPIPInstrVxi11

from batchtest.bench.sessions.rpc import Caller, opaque, port_of
from batchtest.bench.sessions.stream import WireError, deadline_after, seconds_left
from batchtest.bench.sessions.streamed import DISCARD
from batchtest.bench.sessions.tcp import OPEN_MS

PROGRAM = (vxi11.DEVICE_CORE_PROG, vxi11.DEVICE_CORE_VERS)
#: How long closing may wait for the instrument, s.
CLOSE_S = 0.5
#: What an instrument is given beyond its own time-out to say that it had none, s.
_GRACE_S = 0.05
#: Longest time-out that can be said, ms.
_LONGEST_MS = 0x7FFF_FFFF


class Vxi11Session(TCPIPInstrVxi11):  # type: ignore[misc]  # pyvisa-py carries no types
    """A VXI-11 session with true deadlines."""

    interface: Any

    def after_parsing(self) -> None:
        """Connect and make the link within the open time-out; called by the base class once the address is parsed."""
        host, _, port = self.parsed.host_address.partition(",")
        deadline = deadline_after((self.open_timeout or OPEN_MS) / 1000)
        assert deadline is not None
        self._partial, self.keepalive = bytearray(), True
        try:
            known = int(port) if port else port_of(host, PROGRAM, deadline)
            self.interface = Caller(host, known, PROGRAM, deadline)
            self._create_link(deadline)
        except WireError as error:
            if self.interface is not None:
                self.interface.close()
            raise error.at_open() from error
        self._set_attributes(host)

    def _create_link(self, deadline: float) -> None:
        client = int.from_bytes(os.urandom(4), "big") >> 1
        arguments = struct.pack("!iII", client, 0, 0) + opaque(self.parsed.lan_device_name.encode("ascii"))
        _, self.link, _, largest = self._call("!iiII", vxi11.CREATE_LINK, arguments, deadline)
        self.max_recv_size = min(max(largest, 1), 1 << 20)

    def _set_attributes(self, host: str) -> None:
        self.attrs[ResourceAttribute.tcpip_is_hislip] = constants.VI_FALSE
        self.attrs[ResourceAttribute.tcpip_address] = host
        self.attrs[ResourceAttribute.tcpip_hostname] = ""
        self.attrs[ResourceAttribute.tcpip_device_name] = self.parsed.lan_device_name
        self.attrs[ResourceAttribute.send_end_enabled] = constants.VI_TRUE
        self.attrs[ResourceAttribute.suppress_end_enabled] = constants.VI_FALSE
        self.attrs[ResourceAttribute.termchar] = ord("\n")
        self.attrs[ResourceAttribute.termchar_enabled] = constants.VI_FALSE

    def write(self, data: bytes) -> tuple[int, StatusCode]:
        """Send one message; what nobody read of the reply before is dropped."""
        deadline = deadline_after(self.timeout)
        self._partial.clear()
        sent = 0
        try:
            while sent < len(data):
                block = data[sent : sent + self.max_recv_size]
                flags = vxi11.OP_FLAG_END if sent + len(block) >= len(data) else 0
                arguments = struct.pack("!iIIi", self.link, _milliseconds(deadline), 0, flags) + opaque(block)
                sent += self._taken(self._call("!iI", vxi11.DEVICE_WRITE, arguments, deadline)[1])
        except WireError as error:
            return sent, error.status
        return sent, StatusCode.success

    @staticmethod
    def _taken(count: int) -> int:
        if count == 0:
            raise WireError(StatusCode.error_io)
        return count

    def read(self, count: int) -> tuple[bytes, StatusCode]:
        """The reply up to its end, its termination character where that is enabled, or `count` bytes of it.

        What was received is kept when time is up.
        """
        deadline = deadline_after(self.timeout)
        by_character = self.attrs[ResourceAttribute.termchar_enabled]
        flags = vxi11.OP_FLAG_TERMCHAR_SET if by_character else 0
        character = self.attrs[ResourceAttribute.termchar]
        reason = 0
        try:
            while not reason & (vxi11.RX_END | vxi11.RX_CHR) and len(self._partial) < count:
                wanted = min(count - len(self._partial), 1 << 20)
                arguments = struct.pack(
                    "!iIIIii", self.link, wanted, _milliseconds(deadline), 0, flags, character if by_character else 0
                )
                reason, data = self._read_once(arguments, deadline)
                self._partial += data
        except WireError as error:
            return b"", error.status
        taken = bytes(self._partial)
        self._partial.clear()
        if reason & vxi11.RX_END:
            return taken, StatusCode.success
        ended = reason & vxi11.RX_CHR
        return taken, StatusCode.success_termination_character_read if ended else StatusCode.success_max_count_read

    def _read_once(self, arguments: bytes, deadline: float | None) -> tuple[int, bytes]:
        """Why the instrument stopped, and what it gave."""
        results = self._answered(vxi11.DEVICE_READ, arguments, deadline)
        if len(results) < 12:
            raise WireError(StatusCode.error_io)
        reason, length = struct.unpack_from("!iI", results, 4)
        return reason, results[12 : 12 + length]

    def _call(self, form: str, procedure: int, arguments: bytes, deadline: float | None) -> tuple[int, ...]:
        """Results of a form, the error number first; WireError where that is not zero."""
        try:
            return struct.unpack_from(form, self._answered(procedure, arguments, deadline))
        except struct.error as error:
            raise WireError(StatusCode.error_io) from error

    def _answered(self, procedure: int, arguments: bytes, deadline: float | None) -> bytes:
        """The results of a call that went well."""
        results: bytes = self.interface.call(procedure, arguments, deadline and deadline + _GRACE_S)
        number = int.from_bytes(results[:4], "big")
        if number:
            raise WireError(VXI11_ERRORS_TO_VISA.get(number, StatusCode.error_io))
        return results

    def _generic(self, form: str, procedure: int) -> tuple[int, ...]:
        deadline = deadline_after(self.timeout)
        arguments = struct.pack("!iiII", self.link, 0, 0, _milliseconds(deadline))
        return self._call(form, procedure, arguments, deadline)

    def waiting(self) -> bytes:
        """What was received of a reply and not read; never waits. The instrument holds the rest until it is asked."""
        return bytes(self._partial)

    def clear(self) -> StatusCode:
        """Device clear: the instrument drops what it was doing for us, and so do we."""
        self._partial.clear()
        try:
            self._generic("!i", vxi11.DEVICE_CLEAR)
        except WireError as error:
            return error.status
        return StatusCode.success

    def flush(self, mask: BufferOperation) -> StatusCode:
        """Drop what was received where the mask asks for it; nothing sent is ever held back."""
        if mask & DISCARD:
            self._partial.clear()
        return StatusCode.success

    def read_stb(self) -> tuple[int, StatusCode]:
        """The status byte."""
        try:
            return self._generic("!iI", vxi11.DEVICE_READSTB)[1], StatusCode.success
        except WireError as error:
            return 0, error.status

    def close(self) -> StatusCode:
        """Give the link back, and close the connection; closing twice is harmless."""
        if self.interface is not None:
            with suppress(WireError):  # it may be gone already
                self._call("!i", vxi11.DESTROY_LINK, struct.pack("!i", self.link), deadline_after(CLOSE_S))
            self.interface.close()
            self.interface = None
        return StatusCode.success


def _milliseconds(deadline: float | None) -> int:
    """The time left, as it is said to the instrument."""
    left_s = seconds_left(deadline)
    return _LONGEST_MS if left_s is None else min(_LONGEST_MS, round(left_s * 1000))
