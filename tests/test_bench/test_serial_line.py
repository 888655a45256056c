"""Serial lines: block reads with true deadlines, no byte lost, one program for a port, and clear refusals."""

from __future__ import annotations

import errno
import os
import re
import subprocess
import sys
import termios
import threading
import time
import tty
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import pytest
import serial
from pyvisa.constants import BufferOperation, ResourceAttribute, StatusCode
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource

from batchtest.bench.port import Port, Wiring
from batchtest.bench.sessions import SerialSession
from batchtest.bench.sessions.tty import denied, described, holders, taken
from batchtest.errors import BenchError, InstrumentLost, SetupError
from test_bench.links import manager
from test_bench.peers import opened


@contextmanager
def line() -> Iterator[tuple[int, str]]:
    """A pseudo-terminal: the end of the instrument, and the path of the other."""
    instrument, other = os.openpty()
    tty.setraw(instrument)
    tty.setraw(other)
    try:
        yield instrument, os.ttyname(other)
    finally:
        for descriptor in (instrument, other):
            with suppress(OSError):  # the test has pulled the lead
                os.close(descriptor)


@contextmanager
def joined(timeout_ms: int = 200) -> Iterator[tuple[MessageBasedResource, int]]:
    """A resource with LF ending, and the instrument's end of its line."""
    with line() as (instrument, path), opened(f"ASRL{path}::INSTR", timeout_ms) as resource:
        resource.read_termination = "\n"
        yield resource, instrument


def session_of(resource: MessageBasedResource) -> SerialSession:
    """Our session behind a resource."""
    session: SerialSession = resource.visalib.sessions[resource.session]  # type: ignore[attr-defined]
    return session


def test_what_arrives_behind_an_ending_is_kept_for_the_next_read() -> None:
    """Blocks are read, lines are handed over."""
    with joined() as (resource, instrument):
        os.write(instrument, b"one\ntwo\nthr")
        assert [resource.read(), resource.read()] == ["one", "two"]
        os.write(instrument, b"ee\n")
        assert resource.read() == "three"


def test_bytes_without_an_ending_are_kept_when_time_is_up() -> None:
    """A time-out loses nothing, and a line on which nothing comes is not a lost one."""
    with joined(40) as (resource, instrument):
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read()
        os.write(instrument, b"1.234")
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read()
        assert session_of(resource).waiting() == b"1.234"


def test_a_drip_does_not_move_the_deadline() -> None:
    """A byte now and then keeps nobody waiting beyond the deadline for the whole line."""
    stop = threading.Event()
    with joined(100) as (resource, instrument):

        def drip() -> None:
            while not stop.wait(0.01):
                os.write(instrument, b"1")

        thread = threading.Thread(target=drip)
        thread.start()
        began = time.monotonic()
        try:
            with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
                resource.read()
        finally:
            stop.set()
            thread.join()
        assert time.monotonic() - began < 0.6


def test_an_instrument_that_does_not_read_does_not_block_for_ever() -> None:
    """The kernel takes a few thousand bytes, and then time is up."""
    with joined(40) as (resource, _), pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
        resource.write_raw(b"x" * 1_000_000)


def test_a_pulled_lead_is_a_lost_connection_at_once() -> None:
    """For reading and for writing, long before the deadline."""
    with joined(5000) as (resource, instrument):
        os.close(instrument)
        began = time.monotonic()
        for use in (resource.read, lambda: resource.write_raw(b"OUTP OFF\n")):
            with pytest.raises(VisaIOError, match="VI_ERROR_CONN_LOST"):
                use()
        assert time.monotonic() - began < 1.0


@pytest.mark.parametrize("baud", [9600, 19200, 57600, 115200])
def test_the_baud_rate_of_the_bench_file_is_set(baud: int) -> None:
    """It is truly the line's, and flow control is off."""
    with line() as (_, path), manager() as made:
        descriptor = os.open(path, os.O_RDWR | os.O_NOCTTY)
        before = termios.tcgetattr(descriptor)
        before[2] |= termios.HUPCL
        termios.tcsetattr(descriptor, termios.TCSANOW, before)
        port = Port(made, "load", Wiring(f"ASRL{path}::INSTR", "\n", "\n", baud, 1.0))
        port.open()
        flags, _, control, _, speed, *_ = termios.tcgetattr(descriptor)
        os.close(descriptor)
        assert speed == getattr(termios, f"B{baud}")
        assert not flags & (termios.IXON | termios.IXOFF)
        assert not control & termios.HUPCL  # closing does not drop DTR
        port.close()


def test_control_lines_are_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """Neither opening nor changing the rate sets DTR or RTS, to which a board's reset may be wired."""
    for name in ("_update_dtr_state", "_update_rts_state"):
        monkeypatch.setattr(serial.Serial, name, lambda self: pytest.fail("a control line was moved"))
    with joined() as (resource, _):
        resource.set_visa_attribute(ResourceAttribute.asrl_baud_rate, 19200)


@pytest.mark.parametrize("use", ["clear", "flush"])
def test_received_bytes_can_be_dropped(use: str) -> None:
    """Clearing drops what came, flushing what is sent does not."""
    with joined() as (resource, instrument):
        os.write(instrument, b"old\n")
        while session_of(resource).waiting() != b"old\n":
            time.sleep(0.001)
        resource.flush(BufferOperation.flush_write_buffer)
        assert session_of(resource).waiting() == b"old\n"
        resource.clear() if use == "clear" else resource.flush(BufferOperation.discard_read_buffer)
        os.write(instrument, b"new\n")
        assert resource.read() == "new"


def test_time_outs_are_asked_as_they_were_set() -> None:
    """Also that there is none."""
    with joined(150) as (resource, _):
        assert resource.timeout == 150
        resource.timeout = None
        assert resource.timeout == float("+inf")


def test_closing_twice_is_harmless() -> None:
    """The second has nothing to do."""
    with joined() as (resource, _):
        session = session_of(resource)
        resource.close()
        assert session.close() is StatusCode.success


@contextmanager
def holder(path: str) -> Iterator[subprocess.Popen[str]]:
    """Another program that has the port, as ours do."""
    code = (
        "import sys, serial; held = serial.Serial(sys.argv[1], exclusive=True); print('held', flush=True); "
        "sys.stdin.read()"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code, path], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        assert child.stdout is not None
        assert child.stdout.readline() == "held\n"
        yield child
        assert child.stdin is not None
        child.stdin.close()


def test_a_port_that_another_program_has_is_refused_with_its_name() -> None:
    """The message has its process, its name and when it was started; when it ends, the port is free."""
    with line() as (_, path), manager() as made:
        port = Port(made, "load", Wiring(f"ASRL{path}::INSTR", "\n", "\n", None, 1.0))
        with holder(path) as child:
            says = rf"load: {path} is in use by .*process {child.pid} \(\S+\), started \d{{4}}-\d\d-\d\dT\d\d:\d\d:\d\d"
            with pytest.raises(BenchError, match=says):
                port.open()
            assert child.pid in holders(path)
        port.open()
        port.close()


def test_a_port_of_our_own_is_refused_too() -> None:
    """Two instruments of a bench file at one port are a mistake."""
    with joined() as (resource, _), manager() as made, pytest.raises(VisaIOError, match="VI_ERROR_RSRC_BUSY"):
        made.open_resource(resource.resource_name)


def test_a_port_that_is_not_there_is_lost() -> None:
    """The error has the words of the operating system."""
    with manager() as made, pytest.raises(InstrumentLost, match="No such file"):
        Port(made, "load", Wiring("ASRL/dev/no-such-tty::INSTR", "\n", "\n", None, 1.0)).open()


def test_what_is_no_terminal_is_lost(tmp_path: Path) -> None:
    """A file is no serial port."""
    (tmp_path / "file").write_text("")
    with manager() as made, pytest.raises(InstrumentLost, match="Could not configure port"):
        Port(made, "load", Wiring(f"ASRL{tmp_path / 'file'}::INSTR", "\n", "\n", None, 1.0)).open()


def test_a_port_that_this_user_may_not_open_names_the_group(monkeypatch: pytest.MonkeyPatch) -> None:
    """And the way into it, with the name of the user."""

    def refuse(self: serial.Serial) -> None:
        raise serial.SerialException(errno.EACCES, "could not open port")

    monkeypatch.setattr(serial.Serial, "open", refuse)
    with line() as (_, path), manager() as made:
        says = rf"load: {path} may be opened by group '\w+' only: .*`usermod -aG \w+ \w+`"
        with pytest.raises(SetupError, match=says):
            Port(made, "load", Wiring(f"ASRL{path}::INSTR", "\n", "\n", None, 1.0)).open()


def test_messages_about_what_has_gone_are_still_messages(tmp_path: Path) -> None:
    """A process that has ended, a port that has gone, a holder that may not be looked at."""
    assert described(0, tmp_path) == "process 0"
    assert holders("/dev/no-such-tty") == []
    assert re.search("in use by another program", str(taken("/dev/no-such-tty")))
    assert re.search("ask who administers", str(denied("/dev/no-such-tty")))
