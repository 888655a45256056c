"""The simulated bench on real sockets: raw, and through pyvisa."""

from __future__ import annotations

import socket
import threading
import time
from collections.abc import Iterator

import pytest

from batchtest.clock import ScaledClock, VirtualClock
from batchtest.nouns import Role
from batchtest.simulated import RunningBench, start_bench
from batchtest.simulated.mishaps import Mishap
from test_simulated.desk import changed, demo


class Client:
    """A raw socket that reads lines."""

    def __init__(self, bench: RunningBench, role: Role) -> None:
        self.socket = socket.create_connection(("127.0.0.1", bench.servers[role].port), timeout=5)
        self.socket.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)

    def send(self, message: bytes) -> None:
        """Bytes as they are."""
        self.socket.sendall(message)

    def line(self) -> bytes:
        """Everything up to a line feed, or to the end of the connection."""
        found = b""
        while not found.endswith(b"\n") and (piece := self.socket.recv(65536)):
            found += piece
        return found

    def ask(self, message: bytes) -> bytes:
        """One query, one reply."""
        self.send(message + b"\n")
        return self.line()


@pytest.fixture
def clock() -> VirtualClock:
    """A clock that jumps."""
    return VirtualClock()


@pytest.fixture
def bench(clock: VirtualClock) -> Iterator[RunningBench]:
    """A bench being served."""
    with start_bench(changed(), clock) as running:
        yield running


@pytest.fixture
def meter(bench: RunningBench) -> Iterator[Client]:
    """A raw socket to the meter."""
    client = Client(bench, Role.METER)
    with client.socket:
        yield client


def test_every_role_has_an_address_and_its_identity(bench: RunningBench):
    """And the bench file says both, with the endings."""
    for role, address in bench.addresses.items():
        client = Client(bench, role)
        with client.socket:
            instrument = getattr(bench.bench_file, role.value)
            identity = instrument.identity
            expected = f"{identity.maker},{identity.model},{identity.serial},1.0\n"
            assert client.ask(b"*IDN?") == expected.encode()
            assert (instrument.address, instrument.read_ending, instrument.write_ending) == (address, "LF", "LF")
            assert address == f"TCPIP0::127.0.0.1::{bench.servers[role].port}::SOCKET"
    assert set(bench.addresses) == set(Role)
    assert bench.bench_file.simulation is not None


def test_pyvisa_reads_it(bench: RunningBench):
    """Any VISA client can."""
    import pyvisa

    manager = pyvisa.ResourceManager("@py")
    try:
        meter = manager.open_resource(bench.addresses[Role.METER], read_termination="\n", write_termination="\n")
        with meter:
            assert isinstance(meter, pyvisa.resources.MessageBasedResource)
            assert meter.query("*IDN?").startswith("Glasshouse Bench Works,simulated meter,SM-1")
            meter.write("CONF:VOLT:DC 10")
            assert meter.query("*OPC?") == "1"
    finally:
        manager.close()


def test_messages_may_come_in_any_pieces(meter: Client):
    """Several in one piece, one in several, with carriage returns before the line feeds."""
    meter.send(b"*OPC?\r\n*E")
    assert meter.line() == b"1\n"
    meter.send(b"SE?\n*ESE 4")
    assert meter.line() == b"0\n"
    meter.send(b";*ESE?\n*ESE 5\n")
    assert meter.line() == b"4\n"
    assert meter.ask(b"*ESE?") == b"5\n"


def test_a_message_beyond_the_buffer_is_thrown_away(meter: Client):
    """-363, and the next one is answered."""
    meter.send(b"x" * 70_000 + b"\n")
    assert meter.ask(b"SYST:ERR?") == b'-363,"Input buffer overrun"\n'


def test_one_query_is_one_answer_whatever_came_before(meter: Client):
    """Bytes that are no message queue errors and nothing else."""
    meter.send(b"\xff\x00;;;\n\n" + b"(@\n" + b'"\n')
    assert meter.ask(b"*OPC?") == b"1\n"
    assert int(meter.ask(b"SYST:ERR:COUN?")) == 3


def test_many_connections_share_an_instrument(bench: RunningBench, meter: Client):
    """What one sets the other reads, and each gets its own answers."""
    other = Client(bench, Role.METER)
    with other.socket:
        meter.send(b"*ESE 7;*OPC?\n")
        assert meter.line() == b"1\n"
        assert other.ask(b"*ESE?") == b"7\n"


def test_connections_can_be_limited():
    """One more than allowed is closed at once; when one goes, another may come."""
    with start_bench(changed(), VirtualClock(), connections=1) as bench:
        first, second = Client(bench, Role.SUPPLY), Client(bench, Role.SUPPLY)
        with first.socket, second.socket:
            assert first.ask(b"*OPC?") == b"1\n"
            assert second.line() == b""
        for _ in range(100):
            third = Client(bench, Role.SUPPLY)
            with third.socket:
                try:
                    if third.ask(b"*OPC?") == b"1\n":
                        break
                except ConnectionError:
                    pass
            time.sleep(0.01)
        else:
            pytest.fail("the instrument stays taken")


def test_a_thousand_simulated_seconds_pass_at_once(meter: Client, clock: VirtualClock):
    """READ? of 1,000 seconds' integration on the virtual clock."""
    begin = time.perf_counter()
    meter.ask(b"CONF:VOLT:DC 10;:VOLT:DC:NPLC 100;:SAMP:COUN 500;*OPC?")
    assert meter.ask(b"READ?").count(b",") == 499
    assert clock.now() > 1000
    assert time.perf_counter() - begin < 1


def test_on_a_scaled_clock_a_reply_takes_its_share():
    """10 line cycles at 20 times the speed: 10 ms."""
    with start_bench(changed(), ScaledClock(20)) as bench:
        client = Client(bench, Role.METER)
        with client.socket:
            begin = time.perf_counter()
            client.ask(b"READ?")
            assert 0.01 <= time.perf_counter() - begin < 0.5


def test_a_second_link_is_not_held_up_by_a_long_reading():
    """The supply can be switched off while the meter integrates."""
    with start_bench(changed(), ScaledClock(1)) as bench:
        meter, supply = Client(bench, Role.METER), Client(bench, Role.SUPPLY)
        with meter.socket, supply.socket:
            meter.send(b"VOLT:DC:NPLC 100;:SAMP:COUN 100;:READ?\n")
            begin = time.perf_counter()
            assert supply.ask(b"OUTP OFF;*OPC?") == b"1\n"
            assert time.perf_counter() - begin < 0.5
            begin = time.perf_counter()
            bench.stop()
            assert time.perf_counter() - begin < 3


@pytest.mark.parametrize(
    ("mishap", "expected"),
    [
        pytest.param(Mishap(keep=3), b"+0,", id="cut"),
        pytest.param(Mishap(no_ending=True), b'+0,"No error"', id="no-ending"),
        pytest.param(Mishap(drop=True), b"", id="dropped"),
        pytest.param(Mishap(late_s=100), b'+0,"No error"\n', id="late"),
    ],
)
def test_mishaps_befall_one_reply(
    bench: RunningBench, meter: Client, clock: VirtualClock, mishap: Mishap, expected: bytes
):
    """The next reply, and no other."""
    bench.servers[Role.METER].mishaps.append(mishap)
    begin = clock.now()
    meter.send(b"SYST:ERR?\n")
    assert meter.socket.recv(100) == expected
    assert clock.now() - begin == pytest.approx(mishap.late_s)
    if not mishap.drop:
        assert meter.ask(b"*OPC?") == b"1\n"


def test_stopping_closes_every_connection_and_thread():
    """Again does nothing, and no thread is left."""
    before = threading.active_count()
    bench = start_bench(changed(), VirtualClock())
    client = Client(bench, Role.LOAD)
    with client.socket:
        assert client.ask(b"*OPC?") == b"1\n"
        bench.stop()
        bench.stop()
        assert client.line() == b""
    assert threading.active_count() == before
    with pytest.raises(ConnectionRefusedError):
        Client(bench, Role.LOAD)


def test_a_client_that_leaves_without_its_reply_harms_nobody(bench: RunningBench, meter: Client):
    """The instrument goes on for others."""
    other = Client(bench, Role.METER)
    other.send(b"READ?;READ?\n" * 50)
    other.socket.close()
    assert meter.ask(b"*OPC?") == b"1\n"


def test_a_bench_without_a_handler_has_none():
    """A person places the boards; the rack still takes them."""
    setup = changed()
    object.__setattr__(setup, "bench", setup.bench.model_copy(update={"handler": None}))
    with start_bench(setup, VirtualClock()) as bench:
        assert Role.HANDLER not in bench.addresses
        assert bench.bench_file.handler is None
        bench.rack.place("VN-0001", 0.0)
        assert bench.rack.board is not None
    assert demo().bench.handler is not None
