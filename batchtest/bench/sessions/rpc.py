"""Remote procedure calls over TCP (RFC 5531, XDR of RFC 4506), as much of them as VXI-11 needs."""

from __future__ import annotations

import os
import struct

from pyvisa.constants import StatusCode

from batchtest.bench.sessions.stream import Stream, WireError, seconds_left
from batchtest.bench.sessions.tcp import connected, disconnect

#: Longest answer that is taken, bytes.
LONGEST = 1 << 26
_LAST = 0x8000_0000
_CALL, _REPLY, _RPC_VERSION = 0, 1, 2
#: The port mapper (RFC 1833): where it listens, its program and version, its procedure that finds a port, and TCP.
MAPPER_PORT, MAPPER_PROGRAM, GET_PORT, TCP = 111, (100_000, 2), 3, 6


def opaque(data: bytes) -> bytes:
    """Bytes with their length before them, filled up to a multiple of four (RFC 4506, 4.10)."""
    return struct.pack("!I", len(data)) + data + bytes(-len(data) % 4)


def call_head(number: int, program: tuple[int, int], procedure: int) -> bytes:
    """What goes before the arguments of a call (RFC 5531, 9), without credentials."""
    return struct.pack("!10I", number, _CALL, _RPC_VERSION, *program, procedure, 0, 0, 0, 0)


class Caller:
    """Calls the procedures of one program of a server, one after another; an answer that comes late is dropped."""

    def __init__(self, host: str, port: int, program: tuple[int, int], deadline: float) -> None:
        self._link = connected(host, port, deadline)
        self._owner_pid = os.getpid()
        self._stream = Stream(self._link.fileno())
        self._program = program
        self._number = int.from_bytes(os.urandom(3), "big")
        self._broken = False

    def call(self, procedure: int, arguments: bytes, deadline: float | None) -> bytes:
        """The results of a call, as XDR.

        Raises
        ------
        WireError : no answer in time, the connection is lost, or the server does not carry the call out.
        """
        if self._broken:
            raise WireError(StatusCode.error_connection_lost)
        self._number = (self._number + 1) & 0xFFFF_FFFF
        head = call_head(self._number, self._program, procedure)
        record = struct.pack("!I", _LAST | len(head) + len(arguments)) + head + arguments
        sent, status = self._stream.send(record, deadline)
        if status is not StatusCode.success:
            self._broken = sent > 0
            raise WireError(status)
        while True:
            answer = self._record(deadline)
            if len(answer) >= 8 and struct.unpack_from("!2I", answer) == (self._number, _REPLY):
                return _results(answer)
            if seconds_left(deadline) == 0:
                raise WireError(StatusCode.error_timeout)

    def _record(self, deadline: float | None) -> bytes:
        """One record, taken when all its fragments are there (RFC 5531, 11)."""
        buffer, start, pieces = self._stream.buffer, 0, []
        while True:
            self._stream.hold(start + 4, deadline)
            (mark,) = struct.unpack_from("!I", buffer, start)
            end = start + 4 + (mark & ~_LAST)
            if end > LONGEST:
                self._broken = True
                raise WireError(StatusCode.error_io)
            self._stream.hold(end, deadline)
            pieces.append(bytes(buffer[start + 4 : end]))
            start = end
            if mark & _LAST:
                self._stream.take(end)
                return b"".join(pieces)

    def close(self) -> None:
        """Close the connection."""
        disconnect(self._link, self._owner_pid)


def _results(answer: bytes) -> bytes:
    """What follows an answer's head; WireError where the call was not accepted, or not carried out."""
    try:
        denied, _, verifier_length = struct.unpack_from("!3I", answer, 8)
        (outcome,) = struct.unpack_from("!I", answer, 20 + verifier_length)
    except struct.error as error:
        raise WireError(StatusCode.error_io) from error
    if denied or outcome:
        raise WireError(StatusCode.error_nonsupported_operation)
    return answer[24 + verifier_length :]


def port_of(host: str, program: tuple[int, int], deadline: float, mapper_port: int = MAPPER_PORT) -> int:
    """The TCP port that a program has on a host, by the host's port mapper (RFC 1833).

    Raises
    ------
    OpenError, WireError : the mapper does not answer, or the program is not there.
    """
    mapper = Caller(host, mapper_port, MAPPER_PROGRAM, deadline)
    try:
        found = mapper.call(GET_PORT, struct.pack("!4I", *program, TCP, 0), deadline)
    finally:
        mapper.close()
    port = int.from_bytes(found[:4], "big")
    if not 0 < port < 65536:
        raise WireError(StatusCode.error_resource_not_found)
    return port
