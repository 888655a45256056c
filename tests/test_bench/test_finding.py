"""Help with finding an address: nothing is opened, and the network is asked only where a test says so."""

from __future__ import annotations

import os
import socket
import struct
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from serial.tools import list_ports
from serial.tools.list_ports_common import ListPortInfo

from batchtest.bench.finding import broadcast_addresses, network_addresses, serial_ports


def known_ports(monkeypatch: pytest.MonkeyPatch, *devices: str) -> None:
    """Let the system know these serial ports."""
    ports = [ListPortInfo(device) for device in devices]
    ports[0].description = "bench adapter"
    monkeypatch.setattr(list_ports, "comports", lambda: ports)


def test_ports_are_listed_by_their_lasting_names(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The name to write into a bench file is the one that stays, and nothing is opened for it."""
    (tmp_path / "usb-adapter_1-port0").symlink_to("/dev/null")
    known_ports(monkeypatch, "/dev/null", "/dev/zero")
    monkeypatch.setattr(os, "open", lambda *_: pytest.fail("a port was opened"))
    first, second = serial_ports(tmp_path)
    assert first.address == f"ASRL{tmp_path}/usb-adapter_1-port0::INSTR"
    assert (first.device, first.what) == ("/dev/null", "bench adapter")
    assert second.address == "ASRL/dev/zero::INSTR"


def test_what_is_in_the_way_of_a_port_is_told(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A port that may not be opened, and one that nobody has."""
    known_ports(monkeypatch, str(tmp_path / "gone"), os.ttyname(line := os.openpty()[1]))
    gone, free = sorted(serial_ports(tmp_path / "no-folder"), key=lambda port: "gone" not in port.device)
    assert "may not be opened" in gone.trouble
    assert free.trouble == ""
    os.close(line)


@contextmanager
def mapper(*answers: Callable[[bytes], bytes]) -> Iterator[int]:
    """A port mapper on loopback that answers one question in these ways."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as listener:
        listener.bind(("127.0.0.1", 0))
        listener.settimeout(2)

        def serve() -> None:
            question, sender = listener.recvfrom(1024)
            for answer in answers:
                listener.sendto(answer(question), sender)

        thread = threading.Thread(target=serve)
        thread.start()
        yield listener.getsockname()[1]
        thread.join()


def port_is(port: int, *, accepted: int = 0, other: bytes = b"") -> Callable[[bytes], bytes]:
    """The answer that names a port."""
    return lambda question: (other or question[:4]) + struct.pack("!6I", 1, accepted, 0, 0, 0, port)


@pytest.mark.parametrize(
    ("answer", "found"),
    [
        pytest.param(port_is(1024), ("TCPIP0::127.0.0.1::inst0::INSTR",), id="there"),
        pytest.param(port_is(0), (), id="no-such-program"),
        pytest.param(port_is(1024, accepted=1), (), id="denied"),
        pytest.param(port_is(1024, other=b"else"), (), id="another-question"),
        pytest.param(lambda question: question[:4], (), id="cut"),
    ],
)
def test_a_machine_that_names_a_port_is_found(answer: Callable[[bytes], bytes], found: tuple[str, ...]) -> None:
    """Once, though it answers twice; what is no answer to this question is none."""
    with mapper(answer, answer) as port:
        assert network_addresses(["127.0.0.1"], 0.05, port) == found


def test_a_silent_network_ends_at_the_deadline() -> None:
    """Nobody listens there, and a network that cannot be reached is none."""
    began = time.monotonic()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as nobody:
        nobody.bind(("127.0.0.1", 0))
        assert network_addresses(["127.0.0.1"], 0.05, nobody.getsockname()[1]) == ()
    assert 0.04 < time.monotonic() - began < 1.0


def test_loopback_is_no_network_to_search() -> None:
    """Only networks with other machines have an address for all of them."""
    assert not [address for address in broadcast_addresses() if address.startswith("127.")]
