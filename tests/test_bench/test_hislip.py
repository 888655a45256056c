"""HiSLIP sessions: in step after whatever happened, and never waiting beyond their deadline."""

from __future__ import annotations

import socket
import struct
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress

import pytest
from pyvisa.constants import BufferOperation, StatusCode
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource

from batchtest.bench.dialect import Dialect
from batchtest.bench.link import Link
from batchtest.bench.port import Port, Wiring
from batchtest.bench.sessions import HislipSession
from batchtest.errors import InstrumentLost, InstrumentTimeout
from test_bench.links import linked, manager
from test_bench.peers import listening, opened
from test_bench.scripted import ScriptedInstrument

HEADER = struct.Struct("!2sBBIQ")
DATA, END, DONE, CLEARED, SIZE, BEGIN, CLEAR, STATUS = 6, 7, 8, 9, 15, 17, 19, 21


def message(kind: int, payload: bytes = b"", control: int = 0, number: int = 0) -> bytes:
    """One HiSLIP message."""
    return HEADER.pack(b"HS", kind, control, number, len(payload)) + payload


class Instrument:
    """The two connections of an instrument; what it does with a message is the test's."""

    def __init__(self) -> None:
        self.asked: list[bytes] = []
        self.numbers: list[int] = []
        self.controls: list[int] = []
        self.sync: socket.socket | None = None
        self.heard = threading.Semaphore(0)
        self.late = b""
        self.clears = 0

    def receive(self, connection: socket.socket) -> tuple[int, int, int, bytes]:
        """One message."""
        head = connection.recv(16, socket.MSG_WAITALL)
        if len(head) < 16:
            raise EOFError
        _, kind, control, number, length = HEADER.unpack(head)
        return kind, control, number, connection.recv(length, socket.MSG_WAITALL) if length else b""

    def serve_sync(self, connection: socket.socket) -> None:
        """Begin; then keep what is asked, and finish device clears."""
        self.receive(connection)
        self.sync = connection
        connection.sendall(message(1, number=0x0100_0007))
        while True:
            kind, control, number, payload = self.receive(connection)
            if kind == DONE:
                connection.sendall(message(CLEARED))
            else:
                self.asked.append(payload)
                self.numbers.append(number)
                self.controls.append(control)
                self.heard.release()

    def serve_async(self, connection: socket.socket) -> None:
        """Begin; then answer what is asked there. What is `late` leaves when a device clear comes."""
        while True:
            kind, _, number, _ = self.receive(connection)
            if kind == BEGIN:
                assert number == 7
                connection.sendall(message(18))
            elif kind == SIZE:
                connection.sendall(message(16, struct.pack("!Q", 64)))
            elif kind == CLEAR:
                self.clears += 1
                self.reply(self.late)
                connection.sendall(message(23))
            elif kind == STATUS:
                connection.sendall(message(20) + message(22, control=68))  # a service request comes in between

    def reply(self, data: bytes) -> None:
        """Send bytes as they are."""
        assert self.sync is not None
        self.sync.sendall(data)

    def answer(self, payload: bytes, kind: int = END, ago: int = 1) -> bytes:
        """A piece of the reply to the message before so many."""
        return message(kind, payload, number=self.numbers[-ago])

    def wait(self) -> None:
        """Until one more message has come."""
        assert self.heard.acquire(timeout=2)


@contextmanager
def joined(timeout_ms: int = 100) -> Iterator[tuple[MessageBasedResource, Instrument]]:
    """A session and the instrument at its other end."""
    instrument = Instrument()
    with (
        listening(instrument.serve_sync, instrument.serve_async) as port,
        opened(f"TCPIP0::127.0.0.1::hislip0,{port}::INSTR", timeout_ms) as resource,
    ):
        yield resource, instrument


def session_of(resource: MessageBasedResource) -> HislipSession:
    """Our session behind a resource."""
    session: HislipSession = resource.visalib.sessions[resource.session]  # type: ignore[attr-defined]
    return session


def ask(resource: MessageBasedResource, instrument: Instrument, text: bytes) -> None:
    """Send a message, and wait until it is there."""
    resource.write_raw(text)
    instrument.wait()


def test_a_reply_in_pieces_is_one_reply() -> None:
    """Data messages are joined up to the one that ends it."""
    with joined() as (resource, instrument):
        ask(resource, instrument, b"*IDN?")
        instrument.reply(instrument.answer(b"one,", DATA) + instrument.answer(b"two\n"))
        assert resource.read_raw() == b"one,two\n"
        assert instrument.asked == [b"*IDN?"]


def test_a_reply_may_be_read_in_parts() -> None:
    """A count is kept to, and so is a termination character."""
    with joined() as (resource, instrument):
        ask(resource, instrument, b"A?")
        instrument.reply(instrument.answer(b"abc;de\n"))
        session = session_of(resource)
        assert session.read(2) == (b"ab", StatusCode.success_max_count_read)
        resource.read_termination = ";"
        assert session.read(9) == (b"c;", StatusCode.success_termination_character_read)
        assert session.read(9) == (b"de\n", StatusCode.success)


def test_a_message_that_was_read_whole_is_said_so_in_the_next() -> None:
    """The instrument learns that its reply was delivered (IVI-6.1, RMT-delivered)."""
    with joined() as (resource, instrument):
        ask(resource, instrument, b"A?")
        instrument.reply(instrument.answer(b"1\n"))
        resource.read_raw()
        ask(resource, instrument, b"B?")
        ask(resource, instrument, b"C?")
        assert instrument.controls == [0, 1, 0]


def test_a_long_message_leaves_in_pieces_that_the_instrument_takes() -> None:
    """It said that it takes 64 bytes, header included."""
    with joined() as (resource, instrument):
        resource.write_raw(b"x" * 100)
        for _ in range(3):
            instrument.wait()
        assert [len(piece) for piece in instrument.asked] == [48, 48, 4]


def test_a_late_reply_is_dropped_by_its_number() -> None:
    """What answers an earlier question is never taken for the answer to this one."""
    with joined(30) as (resource, instrument):
        ask(resource, instrument, b"OLD?")
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read_raw()
        resource.timeout = 1000
        ask(resource, instrument, b"NEW?")
        instrument.reply(instrument.answer(b"old\n", ago=2) + instrument.answer(b"new\n"))
        assert resource.read_raw() == b"new\n"


def test_time_that_is_up_in_the_middle_of_a_message_leaves_it_whole() -> None:
    """Half a header and half a payload are kept, so that the stream stays in step."""
    with joined(40) as (resource, instrument):
        ask(resource, instrument, b"A?")
        whole = instrument.answer(b"1.234\n")
        for start, end in ((0, 9), (9, 19)):
            instrument.reply(whole[start:end])
            with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
                resource.read_raw()
        instrument.reply(whole[19:])
        assert resource.read_raw() == b"1.234\n"


def test_a_reply_without_end_is_kept_to_be_looked_at() -> None:
    """A time-out loses nothing."""
    with joined(40) as (resource, instrument):
        ask(resource, instrument, b"A?")
        instrument.reply(instrument.answer(b"1.2", DATA))
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.read_raw()
        assert session_of(resource).waiting() == b"1.2"


@pytest.mark.parametrize(
    ("ago", "pause_s"), [pytest.param(1, 0.01, id="drip"), pytest.param(2, 0.0, id="flood-of-late-replies")]
)
def test_pieces_that_keep_coming_do_not_move_the_deadline(ago: int, pause_s: float) -> None:
    """However many come, the read ends at the deadline for the reply."""
    stop = threading.Event()
    with joined(120) as (resource, instrument):
        ask(resource, instrument, b"OLD?")
        ask(resource, instrument, b"A?")

        def drip() -> None:
            with suppress(OSError):
                while not stop.wait(pause_s):
                    instrument.reply(instrument.answer(b"1", DATA, ago) * (1 if pause_s else 1000))

        thread = threading.Thread(target=drip)
        thread.start()
        began = time.monotonic()
        try:
            with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
                resource.read_raw()
        finally:
            stop.set()
            resource.close()
            thread.join()
        assert time.monotonic() - began < 1.0


def test_a_device_clear_survives_a_late_reply() -> None:
    """What was under way is dropped, and the next question gets its own answer."""
    with joined(1000) as (resource, instrument):
        ask(resource, instrument, b"OLD?")
        instrument.late = instrument.answer(b"half", DATA) + instrument.answer(b"old\n")
        resource.clear()
        ask(resource, instrument, b"NEW?")
        assert instrument.numbers[-1] == 0xFFFF_FF00
        instrument.reply(instrument.answer(b"new\n"))
        assert resource.read_raw() == b"new\n"


def test_a_link_that_is_out_of_step_begins_with_a_device_clear() -> None:
    """Where the connection knows one; a raw socket does not, and nothing is sent there."""
    instrument = Instrument()
    with listening(instrument.serve_sync, instrument.serve_async) as port, manager() as made:
        made_port = Port(made, "meter", Wiring(f"TCPIP0::127.0.0.1::hislip0,{port}::INSTR", "", "", None, 1.0))
        made_port.open()
        link = Link(made_port, Dialect.model_validate({"role": "meter"}), reply_s=0.03)
        with pytest.raises(InstrumentTimeout):
            link.query("A?")
        assert instrument.clears == 0
        with pytest.raises(InstrumentLost):
            link.recover()
        assert instrument.clears == 1
        link.close()
    with linked(ScriptedInstrument()) as raw:
        raw.port.clear(0.1)
        assert raw.link.query("*IDN?") == raw.instrument.identity
        assert raw.instrument.heard == ["*IDN?"]


def test_a_device_clear_that_nobody_acknowledges_ends() -> None:
    """It has the deadline of every other call."""

    class Silent(Instrument):
        def serve_async(self, connection: socket.socket) -> None:
            for said in (message(18), message(16, struct.pack("!Q", 64))):
                self.receive(connection)
                connection.sendall(said)
            never(connection)

    instrument = Silent()
    with (
        listening(instrument.serve_sync, instrument.serve_async) as port,
        opened(f"TCPIP0::127.0.0.1::hislip0,{port}::INSTR", 50) as resource,
        pytest.raises(VisaIOError, match="VI_ERROR_TMO"),
    ):
        resource.clear()


def test_the_status_byte_is_read_beside_a_question() -> None:
    """On the other connection, past a service request that nobody asked for."""
    with joined(1000) as (resource, _):
        assert resource.read_stb() == 68


def test_flushing_drops_what_came() -> None:
    """And nothing else."""
    with joined() as (resource, instrument):
        ask(resource, instrument, b"A?")
        instrument.reply(instrument.answer(b"old", DATA))
        while session_of(resource).waiting() != b"old":
            time.sleep(0.001)
        resource.flush(BufferOperation.flush_write_buffer)
        assert session_of(resource).waiting() == b"old"
        resource.flush(BufferOperation.discard_read_buffer)
        assert session_of(resource).waiting() == b""


@pytest.mark.parametrize(
    ("said", "error"),
    [
        pytest.param(b"", "VI_ERROR_CONN_LOST", id="closed"),
        pytest.param(b"nonsense-nonsense", "VI_ERROR_IO", id="no-hislip"),
        pytest.param(message(2, b"fatal"), "VI_ERROR_IO", id="fatal"),
        pytest.param(HEADER.pack(b"HS", END, 0, 0, 1 << 40), "VI_ERROR_IO", id="endless"),
    ],
)
def test_what_is_no_reply_is_an_error_at_once(said: bytes, error: str) -> None:
    """Long before the deadline; a stream that is out of step stays lost."""
    with joined(5000) as (resource, instrument):
        ask(resource, instrument, b"A?")
        instrument.reply(said)
        if not said:
            assert instrument.sync is not None
            instrument.sync.shutdown(socket.SHUT_RDWR)
        began = time.monotonic()
        with pytest.raises(VisaIOError, match=error):
            resource.read_raw()
        assert time.monotonic() - began < 1.0


def test_an_instrument_that_does_not_read_does_not_block_for_ever() -> None:
    """A message that left in part ends the session: nothing can follow it."""

    def deaf(connection: socket.socket) -> None:
        instrument.receive(connection)
        connection.sendall(message(1, number=0x0100_0007))
        stop.wait(5)

    class Roomy(Instrument):
        def serve_async(self, connection: socket.socket) -> None:
            for said in (message(18), message(16, struct.pack("!Q", 1 << 62))):
                self.receive(connection)
                connection.sendall(said)

    instrument, stop = Roomy(), threading.Event()
    with (
        listening(deaf, instrument.serve_async) as port,
        opened(f"TCPIP0::127.0.0.1::hislip0,{port}::INSTR", 50) as resource,
    ):
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            resource.write_raw(b"x" * 30_000_000)
        for use in (lambda: resource.write_raw(b"A?"), resource.read_raw):
            with pytest.raises(VisaIOError, match="VI_ERROR_CONN_LOST"):
                use()
        stop.set()


def never(connection: socket.socket) -> None:
    """Take everything and say nothing."""
    while connection.recv(4096):
        pass


def refusing(connection: socket.socket) -> None:
    """Say that it is taken."""
    connection.recv(4096)
    connection.sendall(message(2, b"taken", control=4))


@pytest.mark.parametrize(
    ("serve", "error"), [pytest.param(never, "VI_ERROR_TMO", id="silent"), pytest.param(refusing, "IO", id="taken")]
)
def test_opening_ends_at_its_own_deadline(serve: object, error: str) -> None:
    """Whatever the other end does, or does not."""
    began = time.monotonic()
    with (
        listening(serve) as port,  # type: ignore[arg-type]
        pytest.raises(VisaIOError, match=error),
        opened(f"TCPIP0::127.0.0.1::hislip0,{port}::INSTR", open_ms=60),
    ):
        pytest.fail("it opened")
    assert time.monotonic() - began < 1.0


def test_closing_twice_is_harmless() -> None:
    """The second has nothing to do."""
    with joined() as (resource, _):
        session = session_of(resource)
        resource.close()
        assert session.close() is StatusCode.success
