"""A listener on loopback: a thread for each connection, all of them ended by `stop`."""

from __future__ import annotations

import contextlib
import socket
import threading
from collections.abc import Callable

#: Instruments are served on this interface only.
LOOPBACK = "127.0.0.1"


class Listener:
    """Calls `serve` in a thread for each connection; `connections` is how many it takes at a time, `None` for any."""

    def __init__(self, name: str, serve: Callable[[socket.socket], None], connections: int | None = None) -> None:
        self._name, self._serve, self._connections = name, serve, connections
        self._open: set[socket.socket] = set()
        self._threads: list[threading.Thread] = []
        self._lock = threading.Lock()
        self._stopping = threading.Event()
        self._away_s = 0.0
        self._listener = socket.create_server((LOOPBACK, 0))
        self.port: int = self._listener.getsockname()[1]
        self._acceptor = threading.Thread(target=self._accept, name=f"{name} listener", daemon=True)
        self._acceptor.start()

    def stop(self) -> None:
        """Close the listener and every connection, and wait for their threads; again does nothing."""
        if self._stopping.is_set():
            return
        with self._lock:
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

    def refuse(self, seconds: float) -> None:
        """Let nobody in for so many real seconds: the port is closed, and opened again after them."""
        self._away_s = seconds
        with contextlib.suppress(OSError):
            self._listener.shutdown(socket.SHUT_RDWR)

    def _came_back(self) -> bool:
        """Whether the port was closed for a while, and is open again."""
        if not self._away_s or self._stopping.is_set():
            return False
        self._listener.close()
        self._stopping.wait(self._away_s)
        self._away_s = 0.0
        with self._lock:  # `stop` finds either a port that can be called, or nobody who listens again
            if self._stopping.is_set():
                return False
            self._listener = socket.create_server((LOOPBACK, self.port))
        return True

    def _accept(self) -> None:
        while True:
            try:
                connection, _ = self._listener.accept()
            except OSError:
                if self._came_back():
                    continue
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
        thread = threading.Thread(target=self._run, args=(connection,), name=f"{self._name} connection", daemon=True)
        self._threads.append(thread)
        thread.start()

    def _run(self, connection: socket.socket) -> None:
        try:
            with contextlib.suppress(OSError), connection:  # a client that has gone away is no fault of the bench
                self._serve(connection)
        finally:
            with self._lock:
                self._open.discard(connection)


def received(connection: socket.socket, count: int) -> bytes:
    """Exactly `count` bytes; EOFError where the connection ends before."""
    data = bytearray()
    while len(data) < count:
        piece = connection.recv(min(count - len(data), 1 << 20))
        if not piece:
            raise EOFError
        data += piece
    return bytes(data)
