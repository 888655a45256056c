"""Other ends of connections that do exactly what a test says, in a thread of their own."""

from __future__ import annotations

import socket
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress

import pyvisa
from pyvisa.resources import MessageBasedResource

from test_bench.links import manager

Serve = Callable[[socket.socket], None]


@contextmanager
def listening(*serves: Serve) -> Iterator[int]:
    """A port whose connections, in their order, are served each by its function; all are closed at the end."""
    open_: list[socket.socket] = []

    def serve(connection: socket.socket, how: Serve) -> None:
        with suppress(OSError, EOFError):
            how(connection)

    def accept(listener: socket.socket) -> None:
        with suppress(OSError):
            for how in serves:
                connection, _ = listener.accept()
                open_.append(connection)
                threads.append(threading.Thread(target=serve, args=(connection, how), daemon=True))
                threads[-1].start()

    with socket.create_server(("127.0.0.1", 0)) as listener:
        threads = [threading.Thread(target=accept, args=(listener,), daemon=True)]
        threads[0].start()
        try:
            yield listener.getsockname()[1]
        finally:
            with suppress(OSError):
                listener.shutdown(socket.SHUT_RDWR)
            for connection in open_:
                with suppress(OSError):
                    connection.shutdown(socket.SHUT_RDWR)
                connection.close()
            for thread in threads:
                thread.join(2.0)


@contextmanager
def opened(address: str, timeout_ms: int = 100, open_ms: int = 1000) -> Iterator[MessageBasedResource]:
    """A resource at an address, with a manager of its own."""
    with manager() as made:
        resource = made.open_resource(address, open_timeout=open_ms)
        assert isinstance(resource, MessageBasedResource)
        resource.timeout = timeout_ms
        resource.write_termination = ""
        with suppress(pyvisa.errors.InvalidSession):
            yield resource
