"""`batchtest bench --find`: addresses for a bench file, of serial ports and, asked for outright, of the network."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, TypeVar

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.bench.finding import SerialPort

CommandT = TypeVar("CommandT", bound=Callable[..., Any])
#: How long machines of the network are given to answer, s.
NETWORK_S = 2.0
#: What --find-network stands for where it names no address.
_EVERYWHERE = "all"


def find_options(command: CommandT) -> CommandT:
    """The options --find and --find-network."""
    network = click.option(
        "--find-network",
        metavar="[ADDRESS]",
        is_flag=False,
        flag_value=_EVERYWHERE,
        help="Ask the network who speaks VXI-11; of one machine or network where its address is given.",
    )
    return click.option("--find", is_flag=True, help="List the serial ports by their lasting names; sends nothing.")(
        network(command)
    )


def tell_found(serial: bool, network: str | None, as_json: bool) -> None:
    """Print what was found.

    Raises
    ------
    SetupError : the network was given by something else than an IPv4 address.
    """
    from batchtest.bench.finding import network_addresses, serial_ports

    ports = serial_ports() if serial else ()
    addresses: tuple[str, ...] = ()
    if network is not None:
        addresses = network_addresses(None if network == _EVERYWHERE else (_checked(network),), NETWORK_S)
    if as_json:
        click.echo(json.dumps({"serial": [asdict(port) for port in ports], "network": list(addresses)}))
        return
    if serial:
        _print(ports)
    if network is not None:
        click.echo("\n".join(addresses) or f"nobody on the network answered for VXI-11 within {NETWORK_S:.0f} s")


def _checked(address: str) -> str:
    from ipaddress import AddressValueError, IPv4Address

    try:
        return str(IPv4Address(address))
    except AddressValueError as error:
        raise SetupError(f"--find-network {address!r} is no IPv4 address such as 192.168.0.255") from error


def _print(ports: tuple[SerialPort, ...]) -> None:
    if not ports:
        click.echo("no serial port on this machine")
    for port in ports:
        click.echo(f'address = "{port.address}"')
        for line in (f"{port.device} {port.what}".strip(), port.trouble):
            if line:
                click.echo(f"    {line}")
