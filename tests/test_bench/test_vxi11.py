"""VXI-11 sessions and the calls below them: one deadline for each, and no answer to another call."""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager

import pytest
from pyvisa.constants import BufferOperation, StatusCode
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource
from pyvisa_py.sessions import OpenError

from batchtest.bench.sessions.rpc import Caller, opaque, port_of
from batchtest.bench.sessions.stream import WireError, deadline_after
from batchtest.bench.sessions.vxi11 import PROGRAM, Vxi11Session
from test_bench.peers import Serve, listening, opened

LINK = struct.pack("!iiII", 0, 5, 0, 16)
DONE = struct.pack("!i", 0)
CREATE, WRITE, READ, STATUS, CLEAR, DESTROY = 10, 11, 12, 13, 15, 23


def call(connection: socket.socket) -> tuple[int, int, bytes]:
    """Number, procedure and arguments of a call."""
    head = connection.recv(4, socket.MSG_WAITALL)
    if len(head) < 4:
        raise EOFError
    record = connection.recv(int.from_bytes(head, "big") & 0x7FFF_FFFF, socket.MSG_WAITALL)
    number, procedure = struct.unpack_from("!I16xI", record)
    return number, procedure, record[40:]


def answer(number: int, results: bytes, *, outcome: int = 0) -> bytes:
    """The record that answers a call."""
    body = struct.pack("!6I", number, 1, 0, 0, 0, outcome) + results
    return struct.pack("!I", 0x8000_0000 | len(body)) + body


def given(data: bytes, reason: int) -> bytes:
    """Results of a read."""
    return struct.pack("!ii", 0, reason) + opaque(data)


class Instrument:
    """Makes a link, then answers each procedure from its own list; with nothing left there it says nothing."""

    def __init__(self, **answers: Sequence[bytes]) -> None:
        known = {"CREATE": [LINK], "DESTROY": [DONE], **answers}
        self.answers = {globals()[name]: list(results) for name, results in known.items()}
        self.written: list[bytes] = []
        self.asked: list[tuple[int, bytes]] = []

    def serve(self, connection: socket.socket) -> None:
        """Until the connection is closed."""
        while True:
            number, procedure, arguments = call(connection)
            self.asked.append((procedure, arguments))
            if procedure == WRITE:
                count = struct.unpack_from("!I", arguments, 16)[0]
                self.written.append(arguments[20 : 20 + count])
                if WRITE not in self.answers:
                    connection.sendall(answer(number, struct.pack("!iI", 0, count)))
                    continue
            left = self.answers.get(procedure)
            if left:
                connection.sendall(answer(number, left.pop(0)))


@contextmanager
def joined(timeout_ms: int = 1000, **answers: Sequence[bytes]) -> Iterator[tuple[MessageBasedResource, Instrument]]:
    """A session and the instrument at its other end."""
    instrument = Instrument(**answers)
    with (
        listening(instrument.serve) as port,
        opened(f"TCPIP0::127.0.0.1,{port}::inst0::INSTR", timeout_ms) as resource,
    ):
        yield resource, instrument


def session_of(resource: MessageBasedResource) -> Vxi11Session:
    """Our session behind a resource."""
    session: Vxi11Session = resource.visalib.sessions[resource.session]  # type: ignore[attr-defined]
    return session


def test_a_reply_in_pieces_is_one_reply() -> None:
    """Reads go on until the instrument says that it ended, and name the link."""
    with joined(READ=[given(b"one,", 0), given(b"two\n", 4)]) as (resource, instrument):
        resource.write_raw(b"*IDN?")
        assert resource.read_raw() == b"one,two\n"
        assert instrument.written == [b"*IDN?"]
        assert {struct.unpack_from("!i", arguments)[0] for kind, arguments in instrument.asked if kind != CREATE} == {5}


@pytest.mark.parametrize(
    ("reason", "status"),
    [
        pytest.param(4, StatusCode.success, id="end"),
        pytest.param(2, StatusCode.success_termination_character_read, id="character"),
        pytest.param(1, StatusCode.success_max_count_read, id="count"),
    ],
)
def test_why_a_read_ended_is_passed_on(reason: int, status: StatusCode) -> None:
    """By its end, by a character, or by its count."""
    with joined(READ=[given(b"abc;", reason)]) as (resource, _):
        resource.read_termination = ";"
        assert session_of(resource).read(4) == (b"abc;", status)


def test_a_long_message_leaves_in_pieces_that_the_instrument_takes() -> None:
    """It said that it takes 16 bytes; only the last is marked as the end."""
    with joined() as (resource, instrument):
        resource.write_raw(b"x" * 40)
        assert [len(piece) for piece in instrument.written] == [16, 16, 8]
        flags = [struct.unpack_from("!i", arguments, 12)[0] for kind, arguments in instrument.asked if kind == WRITE]
        assert flags == [0, 0, 8]


def test_what_came_before_time_was_up_is_kept() -> None:
    """The rest never comes: the reply is no reply, and its bytes can be looked at."""
    with joined(50, READ=[given(b"1.2", 0)]) as (resource, _):
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read_raw()
        assert session_of(resource).waiting() == b"1.2"
        resource.flush(BufferOperation.flush_write_buffer)
        assert session_of(resource).waiting() == b"1.2"
        resource.flush(BufferOperation.discard_read_buffer)
        assert session_of(resource).waiting() == b""


def test_empty_pieces_without_end_do_not_move_the_deadline() -> None:
    """An instrument that gives nothing, again and again, is given up in time."""
    with joined(60, READ=[given(b"", 0)] * 100_000) as (resource, _):
        began = time.monotonic()
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read_raw()
        assert time.monotonic() - began < 1.0


@pytest.mark.parametrize(
    ("results", "error"),
    [
        pytest.param(struct.pack("!iiI", 15, 0, 0), "VI_ERROR_TMO", id="its-own-timeout"),
        pytest.param(struct.pack("!iiI", 17, 0, 0), "VI_ERROR_IO", id="input-output"),
        pytest.param(struct.pack("!iiI", 99, 0, 0), "VI_ERROR_IO", id="unknown"),
        pytest.param(struct.pack("!i", 0), "VI_ERROR_IO", id="short"),
    ],
)
def test_an_error_of_the_instrument_is_told(results: bytes, error: str) -> None:
    """Its number says which; a result that is none is an error too."""
    with joined(READ=[results]) as (resource, _), pytest.raises(VisaIOError, match=error):
        resource.read_raw()


def test_a_message_that_is_not_taken_is_an_error() -> None:
    """Nothing was taken of it."""
    with joined(WRITE=[struct.pack("!iI", 0, 0)]) as (resource, _), pytest.raises(VisaIOError, match="VI_ERROR_IO"):
        resource.write_raw(b"OUTP OFF")


def test_device_clear_and_status_byte_are_calls() -> None:
    """Both go through, and what was received is dropped by the clear."""
    with joined(CLEAR=[DONE], STATUS=[struct.pack("!iI", 0, 68), DONE]) as (resource, _):
        resource.clear()
        assert resource.read_stb() == 68
        with pytest.raises(VisaIOError, match="VI_ERROR_IO"):
            resource.read_stb()


def test_a_device_clear_that_nobody_answers_ends() -> None:
    """At the deadline of every other call."""
    with joined(30) as (resource, _), pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
        resource.clear()


def test_closing_gives_the_link_back_and_may_be_done_twice() -> None:
    """An instrument that does not answer to that keeps nobody long."""
    with joined(DESTROY=[]) as (resource, instrument):
        session = session_of(resource)
        began = time.monotonic()
        resource.close()
        assert time.monotonic() - began < 1.5
        assert instrument.asked[-1] == (DESTROY, struct.pack("!i", 5))
        assert session.close() is StatusCode.success


def silent(connection: socket.socket) -> None:
    """Take everything and say nothing."""
    while connection.recv(4096):
        pass


@pytest.mark.parametrize(
    ("serve", "error"),
    [
        pytest.param(silent, "VI_ERROR_TMO", id="silent"),
        pytest.param(Instrument(CREATE=[struct.pack("!iiII", 9, 0, 0, 0)]).serve, "VI_ERROR_ALLOC", id="full"),
        pytest.param(Instrument(CREATE=[b""]).serve, "VI_ERROR_IO", id="nothing"),
    ],
)
def test_opening_ends_at_its_own_deadline(serve: Serve, error: str) -> None:
    """Whatever the other end does, or does not."""
    began = time.monotonic()
    with (
        listening(serve) as port,
        pytest.raises(VisaIOError, match=error),
        opened(f"TCPIP0::127.0.0.1,{port}::inst0::INSTR", open_ms=60),
    ):
        pytest.fail("it opened")
    assert time.monotonic() - began < 1.0


@contextmanager
def caller(serve: Serve) -> Iterator[Caller]:
    """Calls to a server of the test's."""
    with listening(serve) as port:
        made = Caller("127.0.0.1", port, PROGRAM, time.monotonic() + 1)
        try:
            yield made
        finally:
            made.close()


def test_a_late_answer_is_dropped_by_its_number() -> None:
    """The answer to a call that was given up never becomes the answer to the next."""

    def late(connection: socket.socket) -> None:
        first, second = call(connection)[0], call(connection)[0]
        connection.sendall(answer(first, b"old!") + answer(second, b"new!"))

    with caller(late) as made:
        with pytest.raises(WireError, match="error_timeout"):
            made.call(1, b"", deadline_after(0.03))
        assert made.call(1, b"", deadline_after(1.0)) == b"new!"


def test_an_answer_in_fragments_and_pieces_is_one() -> None:
    """RFC 5531, 11: a record may come in fragments, and those as the network likes."""

    def pieces(connection: socket.socket) -> None:
        whole = answer(call(connection)[0], b"abcdefgh")[4:]
        record = struct.pack("!I", 9) + whole[:9] + struct.pack("!I", 0x8000_0000 | len(whole) - 9) + whole[9:]
        for start in range(0, len(record), 7):
            connection.sendall(record[start : start + 7])
            time.sleep(0.001)

    with caller(pieces) as made:
        assert made.call(1, b"", deadline_after(1.0)) == b"abcdefgh"


@pytest.mark.parametrize(
    ("said", "error"),
    [
        pytest.param(lambda number: answer(number, b"", outcome=3), "nonsupported", id="unknown-procedure"),
        pytest.param(lambda number: struct.pack("!6I", 0x8000_0014, number, 1, 1, 0, 5), "io|nonsup", id="denied"),
        pytest.param(lambda number: struct.pack("!3I", 0x8000_0008, number, 1), "error_io", id="cut"),
        pytest.param(lambda number: b"\x7f\xff\xff\xff", "error_io", id="endless"),
        pytest.param(lambda number: answer(number + 1, b""), "error_timeout", id="another's"),
    ],
)
def test_what_is_no_answer_is_an_error(said: object, error: str) -> None:
    """Nothing is made of it."""

    def serve(connection: socket.socket) -> None:
        connection.sendall(said(call(connection)[0]))  # type: ignore[operator]
        silent(connection)

    with caller(serve) as made, pytest.raises(WireError, match=error):
        made.call(1, b"", deadline_after(0.1))


def test_a_call_that_left_in_part_ends_them_all() -> None:
    """Nothing that follows could be told from its rest."""
    stop = threading.Event()
    with caller(lambda connection: stop.wait(5) and None) as made:
        with pytest.raises(WireError, match="error_timeout"):
            made.call(1, bytes(30_000_000), deadline_after(0.05))
        with pytest.raises(WireError, match="error_connection_lost"):
            made.call(1, b"", deadline_after(0.05))
        stop.set()


def test_the_port_mapper_is_asked_where_the_program_is() -> None:
    """And a program that is not there is told."""

    def mapper(connection: socket.socket) -> None:
        number, procedure, arguments = call(connection)
        assert (procedure, arguments) == (3, struct.pack("!4I", *PROGRAM, 6, 0))
        connection.sendall(answer(number, struct.pack("!I", ports.pop())))

    ports = [0, 1024]
    with listening(mapper, mapper) as port:
        assert port_of("127.0.0.1", PROGRAM, time.monotonic() + 1, port) == 1024
        with pytest.raises(WireError, match="resource_not_found"):
            port_of("127.0.0.1", PROGRAM, time.monotonic() + 1, port)
    with pytest.raises(OpenError, match=str(StatusCode.error_resource_not_found.value)):
        port_of("127.0.0.1", PROGRAM, time.monotonic() + 1, port)
