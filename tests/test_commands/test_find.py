"""`batchtest bench --find`: addresses for a bench file that is still to be written."""

from __future__ import annotations

import json
import re

import pytest
from click.testing import CliRunner, Result

from batchtest.bench import finding
from batchtest.bench.finding import SerialPort
from batchtest.commands import program
from batchtest.errors import SetupError


def bench(*arguments: str) -> Result:
    """Run the command; its errors are kept in the result."""
    return CliRunner().invoke(program, ["bench", *arguments])


@pytest.fixture
def asked(monkeypatch: pytest.MonkeyPatch) -> list[object]:
    """Which hosts were asked; the machine has one serial port and the network one instrument."""
    hosts: list[object] = []

    def network(asked: object, within_s: float) -> tuple[str, ...]:
        hosts.append(asked)
        return ("TCPIP0::192.0.2.7::inst0::INSTR",)

    port = SerialPort("/dev/ttyUSB0", "ASRL/dev/serial/by-id/usb-1::INSTR", "bench adapter", "in use by process 7")
    monkeypatch.setattr(finding, "serial_ports", lambda: (port,))
    monkeypatch.setattr(finding, "network_addresses", network)
    return hosts


def test_serial_ports_are_listed_ready_to_be_copied(asked: list[object]):
    """No bench file is needed, and the network is left in peace."""
    done = bench("--find")
    assert done.exit_code == 0
    assert done.stdout.splitlines() == [
        'address = "ASRL/dev/serial/by-id/usb-1::INSTR"',
        "    /dev/ttyUSB0 bench adapter",
        "    in use by process 7",
    ]
    assert asked == []


@pytest.mark.parametrize(
    ("arguments", "hosts"),
    [
        pytest.param(("--find-network",), [None], id="everywhere"),
        pytest.param(("--find-network", "192.0.2.255"), [("192.0.2.255",)], id="one-network"),
    ],
)
def test_the_network_is_asked_by_a_flag_of_its_own(
    asked: list[object], arguments: tuple[str, ...], hosts: list[object]
):
    """Serial ports are left out then, unless asked for too."""
    assert bench(*arguments).stdout == "TCPIP0::192.0.2.7::inst0::INSTR\n"
    assert asked == hosts


def test_machines_get_one_object(asked: list[object]):
    """Both kinds, each with all that is known."""
    found = json.loads(bench("--find", "--find-network", "--json").stdout)
    assert found["serial"][0]["address"] == "ASRL/dev/serial/by-id/usb-1::INSTR"
    assert found["network"] == ["TCPIP0::192.0.2.7::inst0::INSTR"]


def test_nothing_found_is_said(monkeypatch: pytest.MonkeyPatch):
    """In words, not by silence."""
    monkeypatch.setattr(finding, "serial_ports", lambda: ())
    monkeypatch.setattr(finding, "network_addresses", lambda asked, within_s: ())
    said = bench("--find", "--find-network").stdout
    assert re.fullmatch("no serial port on this machine\nnobody on the network answered .* within 2 s\n", said)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("--find-network", "the-lab"), "'the-lab' is no IPv4 address", id="address"),
        pytest.param((), "which bench", id="nothing"),
    ],
)
def test_what_cannot_be_searched_is_refused(arguments: tuple[str, ...], message: str):
    """Exit code 2."""
    done = bench(*arguments)
    assert done.exit_code == 2 or isinstance(done.exception, SetupError)
    assert message in f"{done.exception} {done.output}"
