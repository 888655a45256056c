"""HiSLIP messages (IVI-6.1) on one of the two connections of a session; a message is taken whole or not at all."""

from __future__ import annotations

import os
import struct
from dataclasses import dataclass

from pyvisa.constants import StatusCode
from pyvisa_py.protocols.hislip import HEADER_FORMAT, MESSAGETYPE, MESSAGETYPE_STR

from batchtest.bench.sessions.stream import Stream, WireError, seconds_left
from batchtest.bench.sessions.tcp import connected, disconnect

_HEADER = struct.Struct(HEADER_FORMAT)
#: What a peer may send at once, bytes; what claims to be longer is no HiSLIP.
LONGEST = 1 << 26


@dataclass(frozen=True, slots=True)
class Message:
    """One message; `kind` by its name in IVI-6.1, such as "DataEnd"."""

    kind: str
    control: int
    parameter: int
    payload: bytes


class Channel:
    """One connection of a HiSLIP session. A message that was sent in part leaves it `broken`: nothing can follow."""

    def __init__(self, host: str, port: int, deadline: float) -> None:
        self._link = connected(host, port, deadline)
        self._owner_pid = os.getpid()
        self._stream = Stream(self._link.fileno())
        self.broken = False

    def send(self, kind: str, control: int, parameter: int, payload: bytes, deadline: float | None) -> None:
        """Send one message.

        Raises
        ------
        WireError : it did not leave whole in time, or the connection is lost.
        """
        if self.broken:
            raise WireError(StatusCode.error_connection_lost)
        data = _HEADER.pack(b"HS", MESSAGETYPE[kind], control, parameter, len(payload)) + payload
        sent, status = self._stream.send(data, deadline)
        if status is not StatusCode.success:
            self.broken = sent > 0
            raise WireError(status)

    def receive(self, deadline: float | None) -> Message:
        """The next message.

        Raises
        ------
        WireError : it was not there whole in time, the connection is lost, or what came is no HiSLIP.
        """
        if self.broken:
            raise WireError(StatusCode.error_connection_lost)
        self._stream.hold(_HEADER.size, deadline)
        prologue, kind, control, parameter, length = _HEADER.unpack_from(self._stream.buffer)
        if prologue != b"HS" or length > LONGEST:
            self.broken = True
            raise WireError(StatusCode.error_io)
        self._stream.hold(_HEADER.size + length, deadline)
        payload = self._stream.take(_HEADER.size + length)[_HEADER.size :]
        return Message(MESSAGETYPE_STR.get(kind, str(kind)), control, parameter, payload)

    def receive_only(self, kind: str, deadline: float | None) -> Message:
        """The next message of a kind; others before it are dropped, and one that tells of an error ends the wait."""
        while (message := self.receive(deadline)).kind != kind:
            if message.kind in ("Error", "FatalError"):
                raise WireError(StatusCode.error_io) from OSError(message.payload.decode("latin-1"))
            if seconds_left(deadline) == 0:
                raise WireError(StatusCode.error_timeout)
        return message

    def close(self) -> None:
        """Close the connection."""
        disconnect(self._link, self._owner_pid)
