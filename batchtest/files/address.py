"""VISA resource names, read strictly: a name that a library would take for something else is refused here."""

from __future__ import annotations

import re

_HOST = r"[A-Za-z0-9](?:[A-Za-z0-9.-]*[A-Za-z0-9])?"
_HEX = r"0x[0-9A-Fa-f]{1,4}"
_PORT_NUMBER = r"(?P<port>[0-9]{1,5})"
_GPIB = r"(?:[0-9]|[12][0-9]|30)"
#: Kind of connection -> the whole of a resource name of that kind.
_FORMS = {
    "SOCKET": re.compile(rf"TCPIP[0-9]*::{_HOST}::{_PORT_NUMBER}::SOCKET"),
    "HISLIP": re.compile(rf"TCPIP[0-9]*::{_HOST}::hislip[0-9]+(?:,{_PORT_NUMBER})?::INSTR"),
    "VXI11": re.compile(
        rf"TCPIP[0-9]*::{_HOST}(?:,{_PORT_NUMBER})?::(?:inst[0-9]+|gpib[0-9]+,{_GPIB}(?:,{_GPIB})?)::INSTR"
    ),
    "ASRL": re.compile(r"ASRL(?:[0-9]+|/dev/[A-Za-z0-9_./:-]+)::INSTR"),
    "USB": re.compile(rf"USB[0-9]*::{_HEX}::{_HEX}::[A-Za-z0-9_.-]+(?:::[0-9]+)?::INSTR"),
    "GPIB": re.compile(rf"GPIB[0-9]*::{_GPIB}(?:::{_GPIB})?::INSTR"),
}
_PORT = re.compile(r"^TCPIP.*(?:::|,)([0-9]{1,9})(?:::SOCKET|::INSTR|$)")
_BARE_SOCKET = re.compile(rf"TCPIP[0-9]*::{_HOST}::[0-9]{{1,5}}(?:::INSTR)?", re.IGNORECASE)
_MOVING = re.compile(r"ASRL(?P<device>/dev/tty(?:USB|ACM)[0-9]+)::INSTR")
_EXAMPLES = (
    "TCPIP0::192.168.0.5::5025::SOCKET, TCPIP0::192.168.0.5::hislip0::INSTR, TCPIP0::192.168.0.5::inst0::INSTR, "
    "ASRL/dev/serial/by-id/usb-maker_adapter_1234-if00-port0::INSTR, USB0::0x1234::0x5678::SN1::INSTR or "
    "GPIB0::22::INSTR"
)


def address_kind(address: str) -> str | None:
    """Kind of connection of a resource name: a key of the forms above; `None` where it is not one of these.

    >>> address_kind("TCPIP0::127.0.0.1::5025::SOCKET")
    'SOCKET'
    """
    for kind, form in _FORMS.items():
        match = form.fullmatch(address)
        if match is not None:
            port = match.groupdict().get("port")
            return kind if port is None or 1 <= int(port) <= 65535 else None
    return None


def address_warning(address: str) -> str | None:
    """Say what may go wrong with a right resource name; `None` where nothing is known to.

    >>> address_warning("ASRL/dev/ttyUSB0::INSTR")[:60]
    '/dev/ttyUSB0 may be another adapter after the next start or '
    """
    moving = _MOVING.fullmatch(address)
    if moving is None:
        return None
    return (
        f"{moving['device']} may be another adapter after the next start or plugging in; write its name of "
        "/dev/serial/by-id, which stays: batchtest bench --find"
    )


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
