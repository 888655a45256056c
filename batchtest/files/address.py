"""VISA resource names, read strictly: a name that a library would take for something else is refused here."""

from __future__ import annotations

import re

_HOST = r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?"
_HEX = r"0x[0-9A-Fa-f]{1,4}"
#: Kind of connection -> the whole of a resource name of that kind.
_FORMS = {
    "SOCKET": re.compile(rf"TCPIP[0-9]*::{_HOST}::(?P<port>[0-9]{{1,5}})::SOCKET"),
    "HISLIP": re.compile(rf"TCPIP[0-9]*::{_HOST}::hislip[0-9]+(?:,(?P<port>[0-9]{{1,5}}))?::INSTR"),
    "ASRL": re.compile(r"ASRL(?:[0-9]+|/dev/[A-Za-z0-9_./:-]+)::INSTR"),
    "USB": re.compile(rf"USB[0-9]*::{_HEX}::{_HEX}::[A-Za-z0-9_.-]+(?:::[0-9]+)?::INSTR"),
    "GPIB": re.compile(r"GPIB[0-9]*::(?:[0-9]|[12][0-9]|30)(?:::(?:[0-9]|[12][0-9]|30))?::INSTR"),
}
_PORT = re.compile(r"^TCPIP.*(?:::|,)([0-9]{1,9})(?:::SOCKET|::INSTR|$)")
_BARE_SOCKET = re.compile(rf"TCPIP[0-9]*::{_HOST}::[0-9]{{1,5}}(?:::INSTR)?", re.IGNORECASE)
_EXAMPLES = (
    "TCPIP0::192.168.0.5::5025::SOCKET, TCPIP0::192.168.0.5::hislip0::INSTR, ASRL/dev/ttyUSB0::INSTR, "
    "USB0::0x1234::0x5678::SN1::INSTR or GPIB0::22::INSTR"
)


def address_kind(address: str) -> str | None:
    """Kind of connection of a resource name: SOCKET, HISLIP, ASRL, USB or GPIB; `None` where it is not one of these.

    >>> address_kind("TCPIP0::127.0.0.1::5025::SOCKET")
    'SOCKET'
    """
    for kind, form in _FORMS.items():
        match = form.fullmatch(address)
        if match is not None:
            port = match.groupdict().get("port")
            return kind if port is None or 1 <= int(port) <= 65535 else None
    return None


def address_fault(address: str) -> str | None:
    """Say what is wrong with a resource name; `None` where it is right."""
    if address_kind(address) is not None:
        return None
    port = _PORT.search(address)
    if port is not None and not 1 <= int(port[1]) <= 65535:
        return f"{address!r} has port {port[1]}; write one of 1 to 65535"
    if _BARE_SOCKET.fullmatch(address):
        right = re.sub(r"::INSTR$", "", address, flags=re.IGNORECASE)
        return f"{address!r} has a port and does not end in ::SOCKET; write '{right}::SOCKET'"
    return f"{address!r} is no VISA resource name; write such as {_EXAMPLES}"
