"""Instruments on raw TCP: replies are sent whole and at once, each with its ending."""

from __future__ import annotations

import socket

from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.listener import LOOPBACK, Listener
from batchtest.simulated.transports.server import Server


class TcpServer(Server):
    """An instrument on a TCP port."""

    def __init__(self, instrument: Served, clock: Clock, connections: int | None = None) -> None:
        super().__init__(instrument, clock)
        self._listener = Listener(instrument.role, self._serve, connections)
        self.port = self._listener.port

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"TCPIP0::{LOOPBACK}::{self.port}::SOCKET"

    def _refuse(self, seconds: float) -> None:
        self._listener.refuse(seconds)

    def stop(self) -> None:
        """Close the port and every connection; again does nothing."""
        self._stopping.set()
        self._listener.stop()

    def _serve(self, connection: socket.socket) -> None:
        framer, exchange = self.instrument.framer(), Exchange(self.instrument)
        while data := connection.recv(65536):
            if not all(self._answer(exchange, message, connection.sendall) for message in framer.feed(data)):
                return
