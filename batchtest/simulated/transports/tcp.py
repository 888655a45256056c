"""Instruments on raw TCP: replies are sent whole and at once, each with its ending."""

from __future__ import annotations

import socket

from batchtest.clock import Clock
from batchtest.simulated.faces import Served
from batchtest.simulated.scpi import Exchange
from batchtest.simulated.transports.listener import LOOPBACK
from batchtest.simulated.transports.server import ListeningServer


class TcpServer(ListeningServer):
    """An instrument on a TCP port."""

    def __init__(self, instrument: Served, clock: Clock, connections: int | None = None) -> None:
        super().__init__(instrument, clock, instrument.role, connections)

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"TCPIP0::{LOOPBACK}::{self.port}::SOCKET"

    def _serve(self, connection: socket.socket) -> None:
        framer, exchange = self.instrument.framer(), Exchange(self.instrument)
        while data := connection.recv(65536):
            if not all(self._answer(exchange, message, connection.sendall) for message in framer.feed(data)):
                return
