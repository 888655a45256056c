"""The connection: what goes wrong outside comes in as one of our errors, with the message that was out."""

from __future__ import annotations

import os
import socket
import threading
import tty
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import date

import pytest
import serial
from pyvisa.constants import StatusCode
from pyvisa.errors import InvalidSession, VisaIOError

from batchtest.bench.port import Port, Wiring, instrument_errors
from batchtest.errors import BenchError, InstrumentLost, InstrumentReplyError, InstrumentTimeout, SetupError
from batchtest.files.bench import Handler
from test_bench.links import linked, manager, wiring
from test_bench.scripted import ScriptedInstrument


@pytest.mark.parametrize(
    ("foreign", "kind", "message"),
    [
        pytest.param(VisaIOError(StatusCode.error_timeout), InstrumentTimeout, "no whole reply to 'READ", id="timeout"),
        pytest.param(VisaIOError(StatusCode.error_connection_lost), InstrumentLost, "connection lost at", id="lost"),
        pytest.param(
            VisaIOError(StatusCode.error_serial_parity), BenchError, "failed .VI_ERROR_ASRL_PARITY", id="parity"
        ),
        pytest.param(InvalidSession(), InstrumentLost, "Invalid session", id="session"),
        pytest.param(ConnectionRefusedError("refused"), InstrumentLost, "refused", id="socket"),
        pytest.param(serial.SerialException("unplugged"), InstrumentLost, "unplugged", id="serial"),
        pytest.param(UnicodeDecodeError("ascii", b"\xe9", 0, 1, "no"), InstrumentReplyError, "not ASCII", id="text"),
    ],
)
def test_each_foreign_family_becomes_ours(foreign: Exception, kind: type[BenchError], message: str) -> None:
    """Four families of foreign exceptions are translated, with instrument and message, and kept as the cause."""
    with pytest.raises(kind, match=f"meter: .*{message}") as caught, instrument_errors("meter", "READ?"):
        raise foreign
    assert type(caught.value) is kind
    assert caught.value.__cause__ is foreign


def test_what_is_our_own_bug_passes() -> None:
    """The fifth family, NotImplementedError, is nobody's bench at fault."""
    with pytest.raises(NotImplementedError, match="ours"), instrument_errors("meter", "READ?"):
        raise NotImplementedError("ours")


def test_a_refused_port_names_the_reason_and_the_cure() -> None:
    """Nobody listens: the error says so at open, in the words of the operating system."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        address = f"TCPIP0::127.0.0.1::{listener.getsockname()[1]}::SOCKET"
    with manager() as made, pytest.raises(InstrumentLost, match=r"refused.*check power and lead"):
        Port(made, "meter", wiring(address)).open()


@pytest.mark.parametrize(
    ("address", "message"),
    [
        pytest.param("NOTHING::1::INSTR", "failed", id="no-such-kind"),
        pytest.param("GPIB0::22::INSTR", "cannot open .* needs the linux-gpib driver and `pip install", id="gpib"),
        pytest.param(
            "USB0::0x1234::0x5678::MY001::INSTR", r"cannot open .* `pip install pyusb .* copy .*\.rules to", id="usb"
        ),
    ],
)
def test_an_address_that_leads_nowhere_is_refused(address: str, message: str) -> None:
    """An address of a kind that does not work here is an error of ours, whatever the library raises."""
    with manager() as made, pytest.raises((SetupError, BenchError), match=message):
        Port(made, "meter", wiring(address)).open()


def instrument(**fields: object) -> Handler:
    """An instrument of a bench file."""
    identity = {"maker": "Glasshouse Bench Works", "model": "m", "serial": "1"}
    table = {"dialect": "d", "identity": identity, "calibrated": date(2026, 3, 2), "due": date(2027, 3, 2), **fields}
    return Handler.model_validate(table)


def test_an_instrument_without_an_address_is_refused() -> None:
    """A bench file whose simulation was not started leads nowhere."""
    with pytest.raises(SetupError, match="meter: has no address"):
        Wiring.of(instrument(), "meter")


def test_kinds_that_mark_their_ends_need_no_endings() -> None:
    """HiSLIP and USB mark the end of a message themselves."""
    found = Wiring.of(instrument(address="TCPIP0::1.2.3.4::hislip0::INSTR"), "meter")
    assert (found.read_ending, found.write_ending) == ("", "")


@pytest.mark.parametrize(("sent", "ending"), [(b"\r\n", "\n"), (b"\r\n", "\r\n"), (b"\r", "\r"), (b"\n", "\r\n")])
def test_each_ending_is_taken_off(sent: bytes, ending: str) -> None:
    """LF, CR and CR LF replies all come without their ending."""
    scripted = ScriptedInstrument(answer=lambda unit: "5")
    scripted.ending = sent
    with linked(scripted) as linked_, manager() as made:
        other = Port(made, "meter", Wiring(linked_.server.address, ending, "\n", None, 1.0))
        other.open()
        other.write("VAL?", 0.2)
        assert other.read("VAL?", 0.2) == "5"
        other.close()


def test_a_reply_without_end_is_refused() -> None:
    """A flood that never ends is no reply."""
    scripted = ScriptedInstrument()
    scripted.misbehave("VAL?", b"x" * 70000)
    with linked(scripted, reply_s=1.0) as linked_, pytest.raises(InstrumentReplyError, match="has no end"):
        linked_.link.query("VAL?")


@contextmanager
def pseudo_terminal(answer: bytes) -> Iterator[str]:
    """A serial line whose other end answers each line it gets."""
    master, slave = os.openpty()
    tty.setraw(master)
    tty.setraw(slave)

    def serve() -> None:
        received = b""
        while not received.endswith(b"QUIT\n"):
            received += os.read(master, 100)
            if received.endswith(b"?\n"):
                os.write(master, answer)

    thread = threading.Thread(target=serve)
    thread.start()
    try:
        yield f"ASRL{os.ttyname(slave)}::INSTR"
    finally:
        os.write(slave, b"QUIT\n")
        thread.join()
        os.close(master)
        os.close(slave)


def test_a_serial_instrument_is_reached_by_the_same_port() -> None:
    """A serial line has its own baud rate, and its time-outs say what came."""
    with pseudo_terminal(b"5\n") as address, manager() as made:
        port = Port(made, "meter", Wiring(address, "\n", "\n", 115200, 1.0))
        port.open()
        port.write("VAL?", 0.5)
        assert port.read("VAL?", 0.5) == "5"
        assert port.waiting() == b""
        with pytest.raises(InstrumentTimeout, match="in time, nothing received; check power and lead"):
            port.read("VAL?", 0.03)
        port.close()


def test_a_closed_port_says_so() -> None:
    """Using a closed connection names it, and closing again is harmless."""
    with linked(ScriptedInstrument()) as linked_:
        linked_.port.close()
        linked_.port.close()
        assert linked_.port.waiting() is None
        with pytest.raises(InstrumentLost, match="the connection is closed"):
            linked_.port.write("X", 0.1)


def test_a_manager_closed_by_others_is_a_lost_instrument() -> None:
    """Whoever closes the manager takes our links along; that is told as a lost instrument."""
    with linked(ScriptedInstrument()) as linked_:
        linked_.port._manager.close()
        with pytest.raises(InstrumentLost, match="Invalid session"):
            linked_.port.write("X", 0.1)
        assert linked_.port.waiting() is None
