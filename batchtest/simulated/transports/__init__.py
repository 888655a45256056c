"""Ways to a simulated instrument, as real as with a real one: a socket, a serial line, two protocols of the LAN."""

from __future__ import annotations

from typing import Literal

from batchtest.clock import Clock
from batchtest.files.bench import Instrument, Transport
from batchtest.simulated.faces import Served
from batchtest.simulated.transports.direct import DirectServer
from batchtest.simulated.transports.hislip import HislipServer
from batchtest.simulated.transports.pty import PtyServer
from batchtest.simulated.transports.server import Server
from batchtest.simulated.transports.tcp import TcpServer
from batchtest.simulated.transports.vxi11 import Vxi11Server

__all__ = ["Server", "serve"]


def serve(
    transport: Transport | Literal["direct"],
    instrument: Served,
    file: Instrument,
    clock: Clock,
    connections: int | None = None,
) -> Server:
    """Serve an instrument until its server is stopped.

    Parameters
    ----------
    transport : the way to it; "direct" is for clients in the same process, which no bench file can ask for.
    file : its table in the bench file; a serial line takes its baud rate from there.
    clock : what replies wait on.
    connections : how many clients it takes at a time where the transport has connections; `None` for any number.
    """
    if transport == "tcp":
        return TcpServer(instrument, clock, connections)
    if transport == "hislip":
        return HislipServer(instrument, clock, connections)
    if transport == "vxi11":
        return Vxi11Server(instrument, clock, connections)
    return PtyServer(instrument, clock, file.baud) if transport == "pty" else DirectServer(instrument, clock)
