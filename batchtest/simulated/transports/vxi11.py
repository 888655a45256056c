"""Instruments on VXI-11 (its core channel over ONC RPC): the instrument keeps a reply until it is asked for it."""

from __future__ import annotations

import socket
import struct
import time
from collections import deque
from dataclasses import dataclass, field
from itertools import count

from batchtest.clock import Clock
from batchtest.simulated.faces import Cutter, Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.listener import LOOPBACK, received
from batchtest.simulated.transports.server import ListeningServer

_LAST = 0x8000_0000
_PROGRAM = 0x0607AF
#: Procedures of the core channel (VXI-11, B.6).
_CREATE_LINK, _WRITE, _READ, _READ_STATUS, _CLEAR, _DESTROY_LINK = 10, 11, 12, 13, 15, 23
_NO_ERROR, _UNSUPPORTED, _TIMEOUT = 0, 8, 15
_FLAG_END = 8
_BY_COUNT, _BY_CHARACTER, _BY_END = 1, 2, 4
_LONGEST = 1 << 20
#: Longest wait for a reply in one piece, s.
_LOOK_S = 0.02


@dataclass
class _Link:
    """One client: what it sent in part, and the pieces of replies, each with the moment of the clock it is there."""

    exchange: Exchange
    framer: Cutter
    pieces: deque[tuple[float, bytes]] = field(default_factory=deque)
    dropped: bool = False


class Vxi11Server(ListeningServer):
    """An instrument on VXI-11, on a port that its address names: there is no port mapper."""

    def __init__(self, instrument: Served, clock: Clock, connections: int | None = None) -> None:
        self._links = count(1)
        super().__init__(instrument, clock, f"{instrument.role} VXI-11", connections)

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"TCPIP0::{LOOPBACK},{self.port}::inst0::INSTR"

    def _serve(self, connection: socket.socket) -> None:
        link = _Link(Exchange(self.instrument), self.instrument.framer())
        try:
            while not link.dropped:
                number, program, procedure, arguments = _call(connection)
                if program != _PROGRAM:
                    _reply(connection, number, 1, b"")
                    continue
                results = self._results(link, procedure, arguments)
                if not link.dropped and not self._stopping.is_set():
                    _reply(connection, number, 0, results)
        except (EOFError, struct.error):
            pass  # the client has gone, or talks nonsense

    def _results(self, link: _Link, procedure: int, arguments: bytes) -> bytes:
        if procedure == _CREATE_LINK:
            return struct.pack("!iiII", _NO_ERROR, next(self._links), 0, _LONGEST)
        if procedure == _WRITE:
            return self._written(link, arguments)
        if procedure == _READ:
            return self._read(link, arguments)
        if procedure == _READ_STATUS:
            return struct.pack("!iI", _NO_ERROR, self.instrument.status_byte())
        if procedure == _CLEAR:
            link.exchange, link.framer = Exchange(self.instrument), self.instrument.framer()
            link.pieces.clear()
        return struct.pack("!i", _NO_ERROR if procedure in (_CLEAR, _DESTROY_LINK) else _UNSUPPORTED)

    def _written(self, link: _Link, arguments: bytes) -> bytes:
        flags, length = struct.unpack_from("!iI", arguments, 12)
        data = arguments[20 : 20 + length]
        if flags & _FLAG_END and not data.endswith(self.instrument.ending):
            data += self.instrument.ending
        for message in link.framer.feed(data):
            if link.pieces:  # a new message while a reply is unread (IEEE 488.2, 6.3.2.3)
                link.pieces.clear()
                self.instrument.fail(-410)
            self._keep_reply(link, message)
        return struct.pack("!iI", _NO_ERROR, length)

    def _keep_reply(self, link: _Link, message: bytes | None) -> None:
        reply = self._carried_out(link.exchange, message)
        if reply is None:
            return
        mishap = self._next_mishap()
        link.dropped = mishap.drop
        moment = reply[1]
        for wait_s, piece in mishap.pieces(reply[0], self.instrument.ending):
            moment += wait_s
            link.pieces.append((moment, piece))

    def _read(self, link: _Link, arguments: bytes) -> bytes:
        """What there is of the reply, waited for as long as the client says, in real time."""
        _, wanted, timeout_ms, _, flags, character = struct.unpack_from("!iIIIii", arguments)
        end = time.monotonic() + timeout_ms / 1000
        while not (link.pieces and self._is_there(link.pieces[0][0])):
            if not link.pieces or time.monotonic() >= end or self._stopping.is_set():
                self._sleep_until(end)
                return struct.pack("!iiI", _TIMEOUT, 0, 0)
        moment, piece = link.pieces.popleft()
        found = piece.find(character) + 1 if flags & 128 else 0
        given = piece[: min(wanted, found or wanted)]
        if len(given) < len(piece):
            link.pieces.appendleft((moment, piece[len(given) :]))
            reason = _BY_CHARACTER if found == len(given) else _BY_COUNT
        else:
            reason = _BY_END if piece.endswith(self.instrument.ending) else 0
        return struct.pack("!iiI", _NO_ERROR, reason, len(given)) + given + bytes(-len(given) % 4)

    def _is_there(self, moment: float) -> bool:
        """Whether a moment of the clock has come, after a short wait for it."""
        if self._clock.now() < moment:
            self._clock.wait_until(min(moment, self._clock.now() + _LOOK_S))
        return self._clock.now() >= moment

    def _sleep_until(self, end: float) -> None:
        """Wait in real time, as an instrument does that has nothing to say."""
        self._stopping.wait(max(0.0, end - time.monotonic()))


def _call(connection: socket.socket) -> tuple[int, int, int, bytes]:
    """Number, program, procedure and arguments of the next call (RFC 5531, 9 and 11)."""
    record, last = b"", False
    while not last:
        (mark,) = struct.unpack("!I", received(connection, 4))
        last = bool(mark & _LAST)
        if len(record) + (mark & ~_LAST) > 2 * _LONGEST:
            raise EOFError
        record += received(connection, mark & ~_LAST)
    number, _, _, program, _, procedure, _, credential_length = struct.unpack_from("!8I", record)
    start = 32 + credential_length
    (verifier_length,) = struct.unpack_from("!I", record, start + 4)
    return number, program, procedure, record[start + 8 + verifier_length :]


def _reply(connection: socket.socket, number: int, outcome: int, results: bytes) -> None:
    """An answer to a call; `outcome` 0 where it was carried out, 1 where there is no such program."""
    body = struct.pack("!6I", number, 1, 0, 0, 0, outcome) + results
    connection.sendall(struct.pack("!I", _LAST | len(body)) + body)
