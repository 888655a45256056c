"""Instruments on HiSLIP (IVI-6.1): two connections for each client, in synchronized mode."""

from __future__ import annotations

import socket
import struct
import threading
from itertools import count
from typing import NamedTuple

from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.listener import LOOPBACK, received
from batchtest.simulated.transports.server import ListeningServer

_HEADER = struct.Struct("!2sBBIQ")
#: Message types (IVI-6.1, table 4).
_INITIALIZE, _INITIALIZE_RESPONSE, _FATAL, _ERROR = 0, 1, 2, 3
_DATA, _DATA_END, _CLEAR_COMPLETE, _CLEAR_ACKNOWLEDGE = 6, 7, 8, 9
_MAX_SIZE, _MAX_SIZE_RESPONSE, _ASYNC_INITIALIZE, _ASYNC_INITIALIZE_RESPONSE = 15, 16, 17, 18
_ASYNC_CLEAR, _STATUS_QUERY, _STATUS_RESPONSE, _ASYNC_CLEAR_ACKNOWLEDGE = 19, 21, 22, 23
#: Longest message that is taken, bytes.
_LONGEST = 1 << 20
_BAD_HEADER, _BAD_START, _FULL, _UNKNOWN_TYPE = 1, 3, 4, 1


class _Message(NamedTuple):
    kind: int
    control: int
    parameter: int
    payload: bytes


def _receive(connection: socket.socket) -> _Message:
    prologue, kind, control, parameter, length = _HEADER.unpack(received(connection, _HEADER.size))
    if prologue != b"HS" or length > _LONGEST:
        _send(connection, _FATAL, _BAD_HEADER, 0, b"no HiSLIP message")
        raise EOFError
    return _Message(kind, control, parameter, received(connection, length))


def _send(connection: socket.socket, kind: int, control: int = 0, parameter: int = 0, payload: bytes = b"") -> None:
    connection.sendall(_HEADER.pack(b"HS", kind, control, parameter, len(payload)) + payload)


class _Client:
    """What is known of one client."""

    def __init__(self, instrument: Served, sync: socket.socket) -> None:
        self.sync = sync
        self.exchange, self.framer = Exchange(instrument), instrument.framer()
        self.longest = _LONGEST
        self.other: socket.socket | None = None

    def restart(self, instrument: Served) -> None:
        """Forget what was received and what waits to be sent."""
        self.exchange, self.framer = Exchange(instrument), instrument.framer()


class HislipServer(ListeningServer):
    """An instrument on HiSLIP. Its end of a message is the protocol's, so a cut reply is one whose end never comes."""

    def __init__(self, instrument: Served, clock: Clock, connections: int | None = None) -> None:
        self._most, self._numbers = connections, count(1)
        self._clients: dict[int, _Client] = {}
        self._lock = threading.Lock()
        super().__init__(instrument, clock, f"{instrument.role} HiSLIP")

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"TCPIP0::{LOOPBACK}::hislip0,{self.port}::INSTR"

    def _serve(self, connection: socket.socket) -> None:
        try:
            first = _receive(connection)
            client = self._clients.get(first.parameter & 0xFFFF)
            if first.kind == _INITIALIZE:
                self._initialized(connection)
            elif first.kind == _ASYNC_INITIALIZE and client is not None:
                client.other = connection
                _send(connection, _ASYNC_INITIALIZE_RESPONSE)
                self._serve_async(client, connection)
            else:
                _send(connection, _FATAL, _BAD_START, 0, b"no way to begin")
        except EOFError:
            pass  # the client has gone, or talks nonsense

    def _initialized(self, connection: socket.socket) -> None:
        with self._lock:
            if self._most is not None and len(self._clients) >= self._most:
                _send(connection, _FATAL, _FULL, 0, b"taken")
                return
            number = next(self._numbers) & 0xFFFF
            client = self._clients[number] = _Client(self.instrument, connection)
        try:
            _send(connection, _INITIALIZE_RESPONSE, 0, 0x0100_0000 | number)
            self._serve_sync(client)
        finally:
            with self._lock:
                del self._clients[number]
            if client.other is not None:
                client.other.shutdown(socket.SHUT_RDWR)

    def _serve_sync(self, client: _Client) -> None:
        while True:
            message = _receive(client.sync)
            if message.kind in (_DATA, _DATA_END):
                if not self._data(client, message):
                    return
            elif message.kind == _CLEAR_COMPLETE:
                client.restart(self.instrument)
                _send(client.sync, _CLEAR_ACKNOWLEDGE)
            else:
                _send(client.sync, _ERROR, _UNKNOWN_TYPE, 0, b"unknown type")

    def _data(self, client: _Client, message: _Message) -> bool:
        """Carry out what came to its end; `False` where the connection is to be closed."""
        whole = message.payload
        if message.kind == _DATA_END and not whole.endswith(self.instrument.ending):
            whole += self.instrument.ending

        def send(piece: bytes) -> None:
            self._send_reply(client, message.parameter, piece)

        return all(self._answer(client.exchange, each, send) for each in client.framer.feed(whole))

    def _send_reply(self, client: _Client, number: int, piece: bytes) -> None:
        """Send a piece of a reply, as the end of its message where it has the reply's ending."""
        size = max(client.longest - _HEADER.size, _HEADER.size)
        for start in range(0, len(piece), size):
            last = start + size >= len(piece) and piece.endswith(self.instrument.ending)
            _send(client.sync, _DATA_END if last else _DATA, 0, number, piece[start : start + size])

    def _serve_async(self, client: _Client, connection: socket.socket) -> None:
        while True:
            message = _receive(connection)
            if message.kind == _MAX_SIZE and len(message.payload) == 8:
                client.longest = min(struct.unpack("!Q", message.payload)[0], _LONGEST)
                _send(connection, _MAX_SIZE_RESPONSE, 0, 0, struct.pack("!Q", _LONGEST))
            elif message.kind == _ASYNC_CLEAR:
                _send(connection, _ASYNC_CLEAR_ACKNOWLEDGE)
            elif message.kind == _STATUS_QUERY:
                _send(connection, _STATUS_RESPONSE, self.instrument.status_byte())
            else:
                _send(connection, _ERROR, _UNKNOWN_TYPE, 0, b"unknown type")
