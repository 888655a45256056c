"""Help with finding an address: the serial ports of this machine, and, asked for outright, VXI-11 on the network.

Nothing is sent to a serial port, since what hangs on it is unknown. The search of the network is a question to the port
mappers of its machines, and ends at its deadline.
"""

from __future__ import annotations

import fcntl
import os
import select
import socket
import struct
import time
from collections.abc import Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from batchtest.bench.sessions.rpc import GET_PORT, MAPPER_PORT, MAPPER_PROGRAM, TCP, call_head
from batchtest.bench.sessions.tty import denied, described, holders
from batchtest.bench.sessions.vxi11 import PROGRAM

#: Names of serial ports that stay with their adapter.
BY_ID = Path("/dev/serial/by-id")
_SIOCGIFFLAGS, _SIOCGIFBRDADDR, _IFF_LOOPBACK, _IFF_BROADCAST = 0x8913, 0x8919, 0x8, 0x2


@dataclass(frozen=True, slots=True)
class SerialPort:
    """A serial port: its device, the address to write into a bench file, what it is, and what is in the way of it."""

    device: str
    address: str
    what: str
    trouble: str


def serial_ports(by_id: Path = BY_ID) -> tuple[SerialPort, ...]:
    """The serial ports that the system knows, by their lasting names where they have one; sends nothing."""
    from serial.tools.list_ports import comports

    lasting = lasting_names(by_id)
    return tuple(
        SerialPort(
            device=port.device,
            address=f"ASRL{lasting.get(os.path.realpath(port.device), port.device)}::INSTR",
            what=port.description if port.description != "n/a" else "",
            trouble=_trouble(port.device),
        )
        for port in sorted(comports())
    )


def lasting_names(folder: Path = BY_ID) -> dict[str, str]:
    """Device -> its name in a folder of links, which stays the same after the next start or plugging in."""
    if not folder.is_dir():
        return {}
    return {os.path.realpath(link): str(link) for link in sorted(folder.iterdir(), reverse=True)}


def _trouble(device: str) -> str:
    if not os.access(device, os.R_OK | os.W_OK):
        return denied(device).strerror or ""
    return " and ".join(f"in use by {described(pid)}" for pid in holders(device))


def network_addresses(
    hosts: Sequence[str] | None = None, within_s: float = 1.0, mapper_port: int = MAPPER_PORT
) -> tuple[str, ...]:
    """VISA addresses of the machines that answer for VXI-11.

    Parameters
    ----------
    hosts : IPv4 addresses to ask, of machines or of whole networks; `None` for the networks of all interfaces.
    within_s : how long answers are waited for, s.
    """
    number = os.urandom(4)
    question = call_head(int.from_bytes(number, "big"), MAPPER_PROGRAM, GET_PORT) + struct.pack("!4I", *PROGRAM, TCP, 0)
    deadline = time.monotonic() + within_s
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        asking.setsockopt(socket.SOL_SOCKET, socket.SO_BROADCAST, 1)
        asking.setblocking(False)
        for host in broadcast_addresses() if hosts is None else hosts:
            with suppress(OSError):  # a network that cannot be reached has nothing to find
                asking.sendto(question, (host, mapper_port))
        found = set(_answering(asking, number, deadline))
    return tuple(f"TCPIP0::{host}::inst0::INSTR" for host in sorted(found, key=socket.inet_aton))


def _answering(asking: socket.socket, number: bytes, deadline: float) -> Iterator[str]:
    """Machines whose port mapper names a port, until the deadline."""
    poll = select.poll()
    poll.register(asking, select.POLLIN)
    while (left_s := deadline - time.monotonic()) > 0 and poll.poll(left_s * 1000):
        with suppress(OSError):  # such as "nobody listens there"
            answer, (host, _) = asking.recvfrom(1024)
            accepted = answer[:4] == number and answer[8:12] == bytes(4)
            if accepted and len(answer) >= 28 and answer[20:24] == bytes(4) and any(answer[24:28]):
                yield host


def broadcast_addresses() -> tuple[str, ...]:
    """Broadcast addresses of this machine's networks, loopback left out."""
    found = []
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as asking:
        for _, name in socket.if_nameindex():
            request = struct.pack("16s24x", name.encode())
            with suppress(OSError):  # an interface that has no such address
                flags = struct.unpack_from("H", fcntl.ioctl(asking, _SIOCGIFFLAGS, request), 16)[0]
                if flags & _IFF_BROADCAST and not flags & _IFF_LOOPBACK:
                    found.append(socket.inet_ntoa(fcntl.ioctl(asking, _SIOCGIFBRDADDR, request)[20:24]))
    return tuple(found)
