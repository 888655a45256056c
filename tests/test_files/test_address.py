"""VISA resource names are read strictly. The forms are common practice, no source."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.files.address import address_fault, address_kind, address_warning


@pytest.mark.parametrize(
    ("address", "kind"),
    [
        ("TCPIP::127.0.0.1::5025::SOCKET", "SOCKET"),
        ("TCPIP0::meter-1.bench.example::5025::SOCKET", "SOCKET"),
        ("TCPIP0::192.168.0.5::hislip0::INSTR", "HISLIP"),
        ("TCPIP0::192.168.0.5::hislip0,4880::INSTR", "HISLIP"),
        ("TCPIP0::192.168.0.5::inst0::INSTR", "VXI11"),
        ("TCPIP0::192.168.0.5,1024::inst0::INSTR", "VXI11"),
        ("TCPIP0::192.168.0.5::gpib0,22::INSTR", "VXI11"),
        ("ASRL3::INSTR", "ASRL"),
        ("ASRL/dev/serial/by-id/usb-1234-port0::INSTR", "ASRL"),
        ("USB0::0x1234::0x5678::MY001::INSTR", "USB"),
        ("USB::0x1234::0x5678::MY001::0::INSTR", "USB"),
        ("GPIB0::22::INSTR", "GPIB"),
        ("GPIB::30::5::INSTR", "GPIB"),
    ],
)
def test_a_right_name_has_a_kind_and_no_fault(address: str, kind: str) -> None:
    """Every kind of connection that the station knows is taken."""
    assert address_kind(address) == kind
    assert address_fault(address) is None


@pytest.mark.parametrize(
    "address",
    [
        "",
        "127.0.0.1:5025",
        "tcpip0::127.0.0.1::5025::SOCKET",
        "TCPIP0::127.0.0.1::INSTR",
        "TCPIP0::127.0.0.1::5025::SOCKET ",
        "TCPIP0::127.0.0.1::0::SOCKET",
        "TCPIP0::127.0.0.1::65536::SOCKET",
        "TCPIP0::127.0.0.1::hislip0,70000::INSTR",
        "TCPIP0::192.168.0.5,70000::inst0::INSTR",
        "TCPIP0::192.168.0.5::inst::INSTR",
        "TCPIP0::192.168.0.5::gpib0,31::INSTR",
        "TCPIP0::-x::5025::SOCKET",
        "ASRL::INSTR",
        "ASRL/dev/tty USB0::INSTR",
        "GPIB0::31::INSTR",
        "USB0::1234::5678::MY001::INSTR",
        "/dev/ttyUSB0",
    ],
)
def test_a_wrong_name_has_a_fault_and_no_kind(address: str) -> None:
    """What a library might take for something else is refused before it gets there."""
    assert address_kind(address) is None
    assert address_fault(address) is not None


@pytest.mark.parametrize("ending", ["", "::INSTR"])
def test_a_port_without_socket_gets_the_right_name(ending: str) -> None:
    """A library takes a port without ::SOCKET for a device name of another protocol; the cure is spelt out."""
    fault = address_fault(f"TCPIP0::127.0.0.1::5025{ending}")
    assert fault is not None
    assert fault.endswith("write 'TCPIP0::127.0.0.1::5025::SOCKET'")


@pytest.mark.parametrize("device", ["ttyUSB0", "ttyACM12"])
def test_a_name_that_moves_is_warned_of(device: str) -> None:
    """Adapters are numbered as they are found; their names by id stay."""
    warning = address_warning(f"ASRL/dev/{device}::INSTR")
    assert warning is not None
    assert warning.startswith(f"/dev/{device} may be another adapter")
    assert "/dev/serial/by-id" in warning


@pytest.mark.parametrize("address", ["ASRL/dev/serial/by-id/usb-1::INSTR", "ASRL/dev/ttyS0::INSTR", "GPIB0::22::INSTR"])
def test_a_name_that_stays_is_not_warned_of(address: str) -> None:
    """Nothing is said where nothing is wrong."""
    assert address_warning(address) is None


@given(st.text(max_size=40))
def test_any_text_is_a_name_or_has_a_fault(address: str) -> None:
    """There is nothing between right and wrong."""
    assert (address_kind(address) is None) == (address_fault(address) is not None)
