"""Our own session classes under pyvisa-py, put into its registry by `install`.

Each keeps true deadlines, loses no byte, and sees a lost connection at once. pyvisa-py is held to the range that they
were tested on; a test fails when one of its base classes changes shape.
"""

from __future__ import annotations

from typing import Any

from pyvisa.constants import InterfaceType
from pyvisa_py.sessions import Session
from pyvisa_py.tcpip import TCPIPInstrSession

from batchtest.bench.sessions.hislip import HislipSession
from batchtest.bench.sessions.raw_socket import SocketSession
from batchtest.bench.sessions.serial_line import SerialSession
from batchtest.bench.sessions.vxi11 import Vxi11Session

__all__ = ["HislipSession", "LanSession", "SerialSession", "SocketSession", "Vxi11Session", "install", "register"]


class LanSession(TCPIPInstrSession):  # type: ignore[misc]  # pyvisa-py carries no types
    """The choice between HiSLIP and VXI-11, by the device's name in the address."""

    def __new__(cls, manager: Any, name: str, parsed: Any, open_timeout: int | None = None) -> Any:
        """A session of the right class."""
        kind = HislipSession if parsed.lan_device_name.lower().startswith("hislip") else Vxi11Session
        return kind(manager, name, parsed, open_timeout)


def install() -> None:
    """Put our session classes into pyvisa-py's registry, once."""
    register(InterfaceType.tcpip, "SOCKET", SocketSession)
    register(InterfaceType.tcpip, "INSTR", LanSession)
    register(InterfaceType.asrl, "INSTR", SerialSession)


def register(interface: InterfaceType, resource: str, session: type[Session]) -> None:
    """Put one session class into pyvisa-py's registry in place of the one that is there."""
    if Session._session_classes.get((interface, resource)) is not session:
        Session._session_classes.pop((interface, resource), None)  # its own `register` warns of one that is there
        Session.register(interface, resource)(session)
