"""Connections to the network: opened within a deadline, sent without delay, watched while nothing is said."""

from __future__ import annotations

import os
import socket
from contextlib import suppress

from pyvisa.constants import StatusCode
from pyvisa_py.sessions import OpenError

from batchtest.bench.sessions.stream import seconds_left

#: Open time-out where the caller gave none, ms.
OPEN_MS = 5000
#: A silent peer is looked for after 5 s, then each 2 s; after 3 looks without an answer the connection is lost.
_KEEPALIVE = (("TCP_KEEPIDLE", 5), ("TCP_KEEPINTVL", 2), ("TCP_KEEPCNT", 3))


def connected(host: str, port: int, deadline: float) -> socket.socket:
    """A connected socket that never blocks.

    Raises
    ------
    OpenError : time is up, or nobody listens there; the operating system's error is its cause.
    """
    try:
        link = socket.create_connection((host, port), max(0.001, seconds_left(deadline) or 0.0))
    except TimeoutError as error:
        raise OpenError(StatusCode.error_timeout) from error
    except OSError as error:
        raise OpenError(StatusCode.error_resource_not_found) from error
    link.setblocking(False)
    link.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
    link.setsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE, 1)
    for option, value in _KEEPALIVE:
        if hasattr(socket, option):
            link.setsockopt(socket.IPPROTO_TCP, getattr(socket, option), value)
    return link


def disconnect(link: socket.socket, owner_pid: int) -> None:
    """Close a connection, for the peer too; a forked child leaves its parent's open."""
    if os.getpid() == owner_pid:
        with suppress(OSError):  # the peer was first
            link.shutdown(socket.SHUT_RDWR)
    link.close()
