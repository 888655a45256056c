"""What our sessions stand on; those of raw sockets: true deadlines, no lost bytes, a closed connection seen at once."""

from __future__ import annotations

import inspect
import os
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

import pytest
import pyvisa
from pyvisa.constants import BufferOperation, InterfaceType, ResourceAttribute, StatusCode
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource
from pyvisa_py import serial as stock_serial
from pyvisa_py.sessions import Session
from pyvisa_py.tcpip import TCPIPInstrHiSLIP, TCPIPInstrSession, TCPIPInstrVxi11, TCPIPSocketSession

from batchtest.bench.sessions import LanSession, SerialSession, SocketSession, install
from test_bench.links import manager


@contextmanager
def joined(timeout_ms: int = 200) -> Iterator[tuple[MessageBasedResource, socket.socket]]:
    """A resource with LF ending, and the socket at its other end."""
    with socket.create_server(("127.0.0.1", 0)) as listener, manager() as made:
        resource = made.open_resource(f"TCPIP0::127.0.0.1::{listener.getsockname()[1]}::SOCKET", open_timeout=1000)
        assert isinstance(resource, MessageBasedResource)
        peer, _ = listener.accept()
        resource.read_termination = "\n"
        resource.timeout = timeout_ms
        with peer:
            yield resource, peer


def session_of(resource: MessageBasedResource) -> SocketSession:
    """pyvisa-py's session behind a resource."""
    session: SocketSession = resource.visalib.sessions[resource.session]  # type: ignore[attr-defined]
    return session


#: Methods of pyvisa-py's classes, every one of which ours overrides, uses or has looked at.
SHAPES = {
    TCPIPSocketSession: "after_parsing _connect close read write clear flush _get_tcpip_nodelay _set_tcpip_nodelay "
    "_get_tcpip_keepalive _set_tcpip_keepalive _get_attribute _set_attribute",
    stock_serial.SerialSession: "after_parsing _get_timeout _set_timeout close read write flush _get_attribute "
    "_set_attribute",
    TCPIPInstrHiSLIP: "after_parsing get_max_message_kb set_max_message_kb get_keepalive set_keepalive close "
    "_set_timeout read write clear read_stb _get_attribute _set_attribute",
    TCPIPInstrVxi11: "after_parsing close read write _get_attribute _set_attribute assert_trigger clear read_stb lock "
    "unlock _set_timeout",
    TCPIPInstrSession: "",
}


@pytest.mark.parametrize("base", SHAPES, ids=lambda base: base.__name__)
def test_the_base_classes_have_the_shape_that_ours_stand_on(base: type) -> None:
    """A pyvisa-py whose sessions have changed must be looked at before it is used."""
    defined = {name for name, value in vars(base).items() if inspect.isfunction(value)} - {"__new__"}
    assert defined == set(SHAPES[base].split())
    parameters = {"read": ["self", "count"], "write": ["self", "data"], "clear": ["self"], "close": ["self"]}
    for method in parameters.keys() & vars(base).keys():
        assert list(inspect.signature(vars(base)[method]).parameters) == parameters[method]


def test_sessions_are_made_and_found_as_ours_expect() -> None:
    """The common base calls `after_parsing`, and its registry is a dictionary by interface and class."""
    assert list(inspect.signature(Session.__init__).parameters) == [
        "self",
        "resource_manager_session",
        "resource_name",
        "parsed",
        "open_timeout",
    ]
    assert isinstance(Session._session_classes, dict)
    assert "self.after_parsing()" in inspect.getsource(Session.__init__)
    assert list(inspect.signature(TCPIPInstrSession.__new__).parameters)[1:] == [
        "resource_manager_session",
        "resource_name",
        "parsed",
        "open_timeout",
    ]


def test_installing_twice_is_quiet_and_leaves_other_kinds_alone(caplog: pytest.LogCaptureFixture) -> None:
    """Sockets, serial lines, HiSLIP and VXI-11 are ours; USB and GPIB go through pyvisa-py's own classes."""
    ours = {
        (InterfaceType.tcpip, "SOCKET"): SocketSession,
        (InterfaceType.tcpip, "INSTR"): LanSession,
        (InterfaceType.asrl, "INSTR"): SerialSession,
    }
    others = {key: kind for key, kind in Session._session_classes.items() if key not in ours}
    install()
    install()
    assert not caplog.records
    assert {key: Session.get_session_class(*key) for key in ours} == ours
    assert others == {key: kind for key, kind in Session._session_classes.items() if key in others}


def test_small_messages_leave_without_delay() -> None:
    """TCP_NODELAY is truly set on the socket, and can be asked and changed by its attribute."""
    with joined() as (resource, _):
        link = session_of(resource).interface
        assert link.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        assert resource.get_visa_attribute(ResourceAttribute.tcpip_nodelay)
        resource.set_visa_attribute(ResourceAttribute.tcpip_nodelay, False)
        assert not link.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
        assert link.getsockopt(socket.SOL_SOCKET, socket.SO_KEEPALIVE)


def test_two_lines_at_once_are_read_one_by_one() -> None:
    """What arrives behind the ending is kept for the next read."""
    with joined() as (resource, peer):
        peer.sendall(b"one\ntwo\nthr")
        assert [resource.read(), resource.read()] == ["one", "two"]
        peer.sendall(b"ee\n")
        assert resource.read() == "three"


def test_a_count_is_kept_to() -> None:
    """A read of so many bytes gives these and leaves the rest."""
    with joined() as (resource, peer):
        peer.sendall(b"abcdef\n")
        assert session_of(resource).read(2) == (b"ab", StatusCode.success_max_count_read)
        assert resource.read() == "cdef"


def test_bytes_without_an_ending_are_kept_when_time_is_up() -> None:
    """A time-out loses nothing: the bytes received can still be looked at."""
    with joined(30) as (resource, peer):
        peer.sendall(b"1.234")
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read()
        assert session_of(resource).waiting() == b"1.234"


def test_a_drip_does_not_move_the_deadline() -> None:
    """A byte now and then keeps nobody waiting beyond the deadline for the whole line."""
    stop = threading.Event()
    with joined(150) as (resource, peer):

        def drip() -> None:
            while not stop.wait(0.02):
                peer.sendall(b"1")

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


def test_a_closed_connection_is_seen_at_once() -> None:
    """An end of file in a reply is a lost connection, long before the deadline."""
    with joined(5000) as (resource, peer):
        peer.sendall(b"1.2")
        peer.close()
        began = time.monotonic()
        with pytest.raises(VisaIOError, match="VI_ERROR_CONN_LOST"):
            resource.read()
        assert time.monotonic() - began < 1.0


def test_a_reset_connection_is_lost_for_reading_and_writing() -> None:
    """A peer that resets is as gone as one that closes."""
    with joined() as (resource, peer):
        peer.setsockopt(socket.SOL_SOCKET, socket.SO_LINGER, b"\1\0\0\0\0\0\0\0")
        peer.close()
        for use in (resource.read, lambda: [resource.write_raw(b"x" * 65536) for _ in range(9)]):
            with pytest.raises(VisaIOError, match="VI_ERROR_CONN_LOST"):
                use()


def test_a_peer_that_does_not_read_does_not_block_for_ever() -> None:
    """Sending has the deadline too."""
    with joined(50) as (resource, _), pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
        resource.write_raw(b"x" * 50_000_000)


def test_without_a_deadline_it_waits_until_something_comes() -> None:
    """VISA's infinite time-out is kept for those who ask for it; the station never does."""
    with joined() as (resource, peer):
        resource.timeout = None
        timer = threading.Timer(0.05, lambda: peer.sendall(b"late\n"))
        timer.start()
        assert resource.read() == "late"
        timer.join()


@pytest.mark.parametrize(
    "drop",
    [
        lambda resource: resource.clear(),
        lambda resource: resource.flush(BufferOperation.discard_read_buffer),
        lambda resource: resource.flush(BufferOperation.discard_receive_buffer),
    ],
    ids=["clear", "flush-read", "flush-receive"],
)
def test_received_bytes_can_be_dropped(drop: Any) -> None:
    """Clearing drops what came, and never waits."""
    with joined() as (resource, peer):
        peer.sendall(b"old\n")
        _wait_for(resource, b"old\n")
        drop(resource)
        peer.sendall(b"new\n")
        assert resource.read() == "new"


def test_flushing_what_was_sent_drops_nothing() -> None:
    """Nothing that was sent is held back, so there is nothing to flush."""
    with joined() as (resource, peer):
        peer.sendall(b"kept\n")
        resource.flush(BufferOperation.flush_write_buffer)
        assert resource.read() == "kept"


def _wait_for(resource: MessageBasedResource, data: bytes) -> None:
    while session_of(resource).waiting() != data:
        time.sleep(0.001)


def test_a_refused_port_is_an_error_at_open() -> None:
    """Opening never succeeds on nothing."""
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    with manager() as made, pytest.raises(VisaIOError, match="VI_ERROR_RSRC_NFOUND"):
        made.open_resource(f"TCPIP0::127.0.0.1::{port}::SOCKET")


def test_a_host_that_never_completes_the_connection_is_a_timeout_at_open() -> None:
    """A full backlog never answers; opening ends at its own deadline."""
    with socket.socket() as listener:
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        address = listener.getsockname()
        waiting = [socket.socket() for _ in range(3)]
        for each in waiting:
            each.setblocking(False)
            each.connect_ex(address)
        began = time.monotonic()
        with manager() as made, pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            made.open_resource(f"TCPIP0::127.0.0.1::{address[1]}::SOCKET", open_timeout=100)
        assert time.monotonic() - began < 1.0
        for each in waiting:
            each.close()


def test_closing_tells_the_peer_and_may_be_done_twice() -> None:
    """The peer sees the end; closing again is harmless."""
    with joined() as (resource, peer):
        session = session_of(resource)
        resource.close()
        assert peer.recv(10) == b""
        assert session.close() is StatusCode.success


def test_a_forked_child_leaves_the_connection_open() -> None:
    """A child that closes its copy does not cut its parent's link."""
    with joined() as (resource, peer):
        session = session_of(resource)
        session._owner_pid = os.getpid() + 1  # as a child sees it
        copy = socket.socket(fileno=os.dup(session.interface.fileno()))
        session.close()
        copy.sendall(b"alive\n")
        assert peer.recv(10) == b"alive\n"
        copy.close()


def test_each_manager_is_closed_alone() -> None:
    """A bench's manager is its own: closing it leaves another one's instruments open."""
    install()
    first, second = pyvisa.ResourceManager("first-try@py"), pyvisa.ResourceManager("second-try@py")
    first.close()
    assert second.session
    second.close()
