"""Instruments on TCP: one listener for each, a thread for each connection, replies sent whole and at once.

The waiting for a reply that is not ready yet is done here, on the bench's clock.
"""

from __future__ import annotations

import contextlib
import socket
import threading
from collections import deque
from dataclasses import dataclass

from batchtest.clock import Clock
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.scpi import Exchange, Framer

#: Instruments are served on this interface only.
LOOPBACK = "127.0.0.1"
#: Longest piece of a wait, in seconds of the clock, after which a server looks whether it is to stop.
_PIECE_S = 1.0


@dataclass(frozen=True, slots=True)
class Mishap:
    """What befalls one reply: late by `late_s` of the clock, cut after `keep` bytes, without ending, or dropped.

    A dropped reply closes the connection in its place.
    """

    late_s: float = 0.0
    keep: int | None = None
    no_ending: bool = False
    drop: bool = False


class InstrumentServer:
    """Serves one instrument until `stop`. `connections` is how many it takes at a time; `None` for any number."""

    def __init__(self, instrument: BenchInstrument, clock: Clock, connections: int | None = None) -> None:
        self.instrument = instrument
        self.mishaps: deque[Mishap] = deque()
        self._clock = clock
        self._connections = connections
        self._open: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port: int = self._listener.getsockname()[1]
        self._acceptor = threading.Thread(target=self._accept, name=f"{instrument.role} listener", daemon=True)
        self._acceptor.start()

    @property
    def address(self) -> str:
        """VISA resource name of the instrument."""
        return f"TCPIP0::{LOOPBACK}::{self.port}::SOCKET"

    def stop(self) -> None:
        """Close the listener and every connection, and wait for their threads; again does nothing."""
        if self._stopping.is_set():
            return
        self._stopping.set()
        with contextlib.suppress(OSError), socket.create_connection((LOOPBACK, self.port), timeout=1):
            pass
        self._acceptor.join()
        self._listener.close()
        with self._lock:
            connections, threads = list(self._open), list(self._threads)
        for connection in connections:
            with contextlib.suppress(OSError):
                connection.shutdown(socket.SHUT_RDWR)
        for thread in threads:
            thread.join()

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                return
            with self._lock:
                full = self._connections is not None and len(self._open) >= self._connections
                if self._stopping.is_set() or full:
                    connection.close()
                else:
                    self._start(connection)
            if self._stopping.is_set():
                return

    def _start(self, connection: socket.socket) -> None:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        self._open.add(connection)
        self._threads = [thread for thread in self._threads if thread.is_alive()]
        thread = threading.Thread(
            target=self._serve, args=(connection,), name=f"{self.instrument.role} connection", daemon=True
        )
        self._threads.append(thread)
        thread.start()

    def _serve(self, connection: socket.socket) -> None:
        framer, exchange = Framer(), Exchange(self.instrument)
        try:
            with contextlib.suppress(OSError), connection:  # a client that has gone away is no fault of the bench
                while data := connection.recv(65536):
                    if not all(self._answer(connection, exchange, message) for message in framer.feed(data)):
                        break
        finally:
            with self._lock:
                self._open.discard(connection)

    def _answer(self, connection: socket.socket, exchange: Exchange, message: bytes | None) -> bool:
        """Carry out one message and send its reply; `False` where the connection is to be closed."""
        exchange.write(message, self._clock.now())
        reply = exchange.read() if exchange.waiting else None
        if reply is None:
            return True
        text, ready_at = reply
        mishap = self.mishaps.popleft() if self.mishaps else Mishap()
        self._wait_until(ready_at + mishap.late_s)
        if mishap.drop or self._stopping.is_set():
            return False
        connection.sendall((text if mishap.no_ending else text + b"\n")[: mishap.keep])
        return True

    def _wait_until(self, moment: float) -> None:
        while (now := self._clock.now()) < moment and not self._stopping.is_set():
            self._clock.wait_until(min(moment, now + _PIECE_S))
