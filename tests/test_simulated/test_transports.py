"""Every transport of the simulated bench is the same instrument: same answers, same records, same mishaps."""

from __future__ import annotations

import csv
import os
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import pyvisa
import serial
from pyvisa.errors import VisaIOError
from pyvisa.resources import MessageBasedResource
from stations import demo_setup, stand

from batchtest.bench.dialect import Dialect
from batchtest.bench.link import Link
from batchtest.bench.port import Port, Wiring
from batchtest.bench.visa import visa_manager
from batchtest.clock import Clock, ScaledClock, VirtualClock
from batchtest.errors import BenchError, InstrumentLost, InstrumentReplyError, InstrumentTimeout
from batchtest.nouns import Role
from batchtest.simulated import RunningBench, start_bench
from batchtest.simulated.mishaps import Mishap
from test_simulated.desk import changed

TRANSPORTS = ("tcp", "pty", "hislip", "vxi11", "direct")


@contextmanager
def served(transport: str, clock: Clock | None = None, **keys: Any) -> Iterator[RunningBench]:
    """A bench reached in one way, its serial lines quick."""
    setup = changed(transport=transport)
    quick = {role.value: getattr(setup.bench, role).model_copy(update={"baud": 115200}) for role in Role}
    setup = replace(setup, bench=setup.bench.model_copy(update=quick))
    with start_bench(setup, clock or VirtualClock(), **keys) as running:
        yield running


@contextmanager
def linked(running: RunningBench, reply_s: float = 0.15) -> Iterator[Link]:
    """The station's own link to the meter."""
    meter = running.bench_file.meter
    with visa_manager("transports") as manager:
        port = Port(manager, "meter", Wiring.of(meter, "meter"))
        port.open()
        link = Link(port, Dialect.model_validate({"role": "meter"}), reply_s=reply_s)
        link.identity = running.instruments.meter.identity
        yield link
        link.close()


@pytest.mark.parametrize("transport", TRANSPORTS)
class TestEachTransport:
    """What holds whichever way the instruments are reached."""

    def test_it_answers_as_who_it_is(self, transport: str):
        """Commands, queries and several of each, one after another."""
        with served(transport) as running, linked(running) as link:
            assert link.query("*IDN?") == running.instruments.meter.identity
            link.write("*ESE 7")
            assert link.query("*ESE?;*OPC?") == "7;1"
            assert link.errors() == []

    def test_a_long_message_and_a_long_reply_go_through(self, transport: str):
        """Longer than a pseudo-terminal holds at a time."""
        with served(transport) as running, linked(running, 2.0) as link:
            link.write("CONF:VOLT:DC 10;:SAMP:COUN 500" + " " * 5000)
            assert link.query("READ?").count(",") == 499

    @pytest.mark.parametrize(
        ("mishap", "kind"),
        [
            pytest.param(Mishap(keep=1), InstrumentTimeout, id="cut"),
            pytest.param(Mishap(no_ending=True), InstrumentTimeout, id="no-ending"),
            pytest.param(Mishap(garbage=b"\xb5\xff"), InstrumentReplyError, id="garbage"),
            pytest.param(Mishap(drop=True), (InstrumentTimeout, InstrumentLost), id="dropped"),
        ],
    )
    def test_after_a_mishap_the_next_answer_is_the_right_one(self, transport: str, mishap: Mishap, kind: Any):
        """It is an error of the bench, and the link comes back into step."""
        with served(transport) as running, linked(running) as link:
            running.servers[Role.METER].mishaps.append(mishap)
            with pytest.raises(kind):
                link.query("SYST:ERR?")
            assert link.dirty
            assert link.query("*IDN?") == running.instruments.meter.identity

    def test_a_stopped_server_is_a_lost_instrument(self, transport: str):
        """Its threads end, and nobody is found at its address any more."""
        before = threading.active_count()
        with served(transport) as running, linked(running) as link:
            link.query("*OPC?")
            running.stop()
            running.stop()
            with pytest.raises(InstrumentLost):
                [link.query("*OPC?") for _ in range(3)]
        assert threading.active_count() == before


@pytest.mark.parametrize("transport", TRANSPORTS)
def test_a_drip_is_a_whole_reply_on_a_clock_that_jumps(transport: str):
    """Byte by byte, each a second after the one before."""
    clock = VirtualClock()
    with served(transport, clock) as running, linked(running, 2.0) as link:
        running.servers[Role.METER].mishaps.append(Mishap(drip_s=1.0))
        assert link.query("*ESE?;*OPC?") == "0;1"
        assert clock.now() >= 3


def test_a_command_cuts_a_reply_that_drips_over_a_serial_line():
    """Its rest is thrown away with error -410 (IEEE 488.2, 6.3.2.3), and the command is carried out at once."""
    with served("pty", ScaledClock(20.0)) as running, linked(running) as link:
        running.servers[Role.METER].mishaps.append(Mishap(drip_s=60.0))
        with pytest.raises(InstrumentTimeout):
            link.query("*IDN?")
        began = time.monotonic()
        link.send_now("CONF:RES 100")
        assert link.query("FUNC?") == '"RES"'
        assert time.monotonic() - began < 3.0, "twenty bytes and more at three seconds each were waited for"
        assert any("-410" in entry.text for entry in running.log), "nothing says that the reply was cut"


@pytest.mark.parametrize("transport", [name for name in TRANSPORTS if name != "pty"])
def test_an_instrument_that_went_away_comes_back(transport: str):
    """It drops its connection, lets nobody in for a moment of real time, and is then found at the same address."""
    with served(transport) as running, visa_manager("away") as manager, linked(running) as link:
        running.servers[Role.METER].mishaps.append(Mishap(drop=True, refuse_s=0.15))
        with pytest.raises(InstrumentLost):
            link.query("*OPC?")
        port = Port(manager, "meter", Wiring.of(running.bench_file.meter, "meter"))
        with pytest.raises(InstrumentLost):
            port.open()
        time.sleep(0.25)
        port.open()
        port.write("*OPC?", 1.0)
        assert port.read("*OPC?", 1.0) == "1"
        port.close()


@pytest.mark.parametrize("transport", [name for name in TRANSPORTS if name != "direct"])
def test_a_late_reply_never_answers_the_next_question(transport: str):
    """In real time: it comes when the link has given it up, and is dropped."""
    with served(transport, ScaledClock()) as running, linked(running, 0.08) as link:
        running.servers[Role.METER].mishaps.append(Mishap(late_s=0.12))
        with pytest.raises(InstrumentTimeout):
            link.query("*ESE?")
        assert link.query("*IDN?") == running.instruments.meter.identity
        assert link.recoveries == 1


@pytest.mark.parametrize("transport", ["tcp", "hislip", "vxi11"])
def test_clients_can_be_limited(transport: str):
    """One more than allowed is not served; when one goes, another may come."""

    def ask() -> str:
        port = Port(manager, "meter", Wiring.of(running.bench_file.meter, "meter"))
        port.open()
        port.write("*OPC?", 0.1)
        return port.read("*OPC?", 0.1)

    with served(transport, connections=1) as running, visa_manager("limited") as manager:
        with linked(running) as link:
            link.query("*OPC?")
            with pytest.raises(BenchError, match="meter"):
                ask()
        for _ in range(100):
            with suppress(BenchError):
                assert ask() == "1"
                return
            time.sleep(0.01)
        pytest.fail("the instrument stays taken")


#: Columns that depend on how the simulated noise falls, and so on the order of the instruments' threads over TCP.
MEASURED = {"elapsed_s", "settle_s", "time", "value", "spread", "uncertainty", "guard", "raw", "why"}


def records(folder: Path) -> dict[str, list[dict[str, str]]]:
    """Every record of a folder."""
    return {
        path.name: list(csv.DictReader(path.read_text().splitlines()))
        for path in sorted((folder / "try").glob("*.csv"))
    }


@pytest.mark.no_cover
def test_a_batch_gives_the_same_records_whichever_way_it_is_reached(tmp_path: Path):
    """In the same process as over TCP: the same lines with the same verdicts, and readings that agree."""
    for transport in ("tcp", "direct"):
        with stand(tmp_path / transport, demo_setup({"VN-0002": "RL5 short"}, transport=transport)) as station:
            station.test("VN-0001", "VN-0002")
    over_tcp, direct = records(tmp_path / "tcp"), records(tmp_path / "direct")
    assert list(over_tcp) == list(direct) == ["VN-0001.1.csv", "VN-0002.1.csv"]
    for name, lines in over_tcp.items():
        plain = [
            [{key: line[key] for key in line.keys() - MEASURED} for line in each] for each in (lines, direct[name])
        ]
        assert plain[0] == plain[1]
        for one, other in zip(lines, direct[name], strict=True):
            doubt = sum(float(line["uncertainty"] or 0) for line in (one, other))
            assert float(one["value"] or 0) == pytest.approx(float(other["value"] or 0), abs=doubt + 1e-9), one["name"]


def test_in_one_process_a_batch_repeats_itself_to_the_last_digit(tmp_path: Path):
    """Nothing there depends on threads."""
    for run in ("first", "second"):
        with stand(tmp_path / run, demo_setup({"VN-0002": "RL5 short"})) as station:
            station.test("VN-0002")
    first, second = records(tmp_path / "first"), records(tmp_path / "second")
    assert [[line | {"time": ""} for line in each] for each in first.values()] == [
        [line | {"time": ""} for line in each] for each in second.values()
    ]


def test_each_role_may_have_a_transport_of_its_own(tmp_path: Path):
    """One board through all of them at once."""
    ways = dict(zip(("meter", "load", "supply", "scanner", "handler"), TRANSPORTS, strict=True))
    with stand(tmp_path, demo_setup(transports=ways)) as station:
        assert [attempt.outcome for attempt in station.test("VN-0001")] == ["pass"]
        kinds = {role.value: address.split("0")[0] for role, address in station.running.addresses.items()}
    assert kinds["meter"] == "TCPIP"
    assert kinds["load"].startswith("ASRL/dev/pts/")
    assert kinds["handler"] == "USB"


@pytest.mark.parametrize("baud", [9600, 115200])
def test_a_serial_line_is_as_slow_as_its_client_sets_it(baud: int):
    """Ten bits for each byte, there and back, on the bench's clock."""
    clock = VirtualClock()
    with served("pty", clock) as running, serial.Serial(running.addresses[Role.LOAD][4:-7], baud, timeout=2) as line:
        for _ in range(2):  # the first has to wait until the instrument is through with its start
            began = clock.now()
            line.write(b"*OPC?\n")
            assert line.readline() == b"1\n"
        assert clock.now() - began == pytest.approx(8 * 10 / baud)


def test_a_serial_line_takes_its_baud_rate_from_the_bench_file():
    """A client that sets none finds it set."""
    setup = changed(transport="pty")
    fast = setup.bench.load.model_copy(update={"baud": 57600})
    setup = replace(setup, bench=setup.bench.model_copy(update={"load": fast}))
    with start_bench(setup, VirtualClock()) as running:
        assert running.servers[Role.LOAD].baud == 57600  # type: ignore[attr-defined]
        assert running.servers[Role.METER].baud == 9600  # type: ignore[attr-defined]


def test_a_client_that_does_not_read_does_not_keep_the_line_from_stopping():
    """Its replies fill the terminal, and the server ends all the same."""
    with served("pty") as running:
        path = running.addresses[Role.METER][4:-7]
        client = os.open(path, os.O_RDWR | os.O_NOCTTY)
        os.write(client, b"*IDN?\n" * 600)
        time.sleep(0.05)
        began = time.monotonic()
        running.stop()
        assert time.monotonic() - began < 2.0
        os.close(client)


@contextmanager
def resource(running: RunningBench, timeout_ms: int = 500) -> Iterator[MessageBasedResource]:
    """The meter as any client of pyvisa has it."""
    with visa_manager("client") as manager:
        made = manager.open_resource(running.addresses[Role.METER], write_termination="", timeout=timeout_ms)
        assert isinstance(made, MessageBasedResource)
        yield made


@pytest.mark.parametrize("transport", ["hislip", "vxi11"])
def test_status_byte_and_device_clear_are_those_of_the_protocol(transport: str):
    """A clear drops half a message and a reply, and the status byte is read without a message."""
    with served(transport) as running, resource(running) as meter:
        meter.write_raw(b"*SRE 16;*ESE 32;NONSENSE")
        deadline = time.monotonic() + 1
        while not meter.read_stb() & 4:  # something is in the error queue
            assert time.monotonic() < deadline
        meter.write_raw(b"*ESE?")
        meter.clear()
        assert meter.query("*OPC?") == "1\n"


def test_a_new_question_before_the_reply_is_an_error_where_replies_wait():
    """VXI-11 keeps a reply until it is asked for (IEEE 488.2, 6.3.2.3): -410, and the new question is answered."""
    with served("vxi11") as running, resource(running) as meter:
        meter.write_raw(b"*IDN?")
        meter.write_raw(b"*OPC?")
        assert meter.read_raw() == b"1\n"
        assert meter.query("SYST:ERR?").startswith("-410")


def test_a_reply_of_vxi_11_may_be_read_in_parts():
    """By count and by character."""
    with served("vxi11") as running, resource(running) as meter:
        meter.write_raw(b"*ESE 5;*ESE?;*OPC?")
        assert meter.read_bytes(1) == b"5"
        meter.read_termination = ";"
        assert meter.read_raw() == b";"
        meter.read_termination = ""
        assert meter.read_raw() == b"1\n"


def test_an_address_in_this_process_that_nobody_serves_is_not_found():
    """As for any other connection."""
    with visa_manager("nobody") as manager:
        with served("direct") as running:
            address = running.addresses[Role.METER]
        with pytest.raises(VisaIOError, match="VI_ERROR_RSRC_NFOUND"):
            manager.open_resource(address)


def test_a_direct_session_knows_no_attribute_of_others():
    """It has none but its endings and its time-out."""
    with served("direct") as running, resource(running) as meter:
        with pytest.raises(VisaIOError, match="VI_ERROR_NSUP_ATTR"):
            meter.get_visa_attribute(pyvisa.constants.ResourceAttribute.interface_number)
        with pytest.raises(VisaIOError, match="VI_ERROR_NSUP_ATTR"):
            meter.set_visa_attribute(pyvisa.constants.ResourceAttribute.io_prot, 1)
        meter.write_raw(b"*OPC?\n")
        assert meter.read_bytes(1) == b"1"
        meter.flush(pyvisa.constants.BufferOperation.discard_read_buffer)
        with pytest.raises(VisaIOError, match="VI_ERROR_TMO"):
            meter.read_bytes(1)


def test_a_server_that_refuses_can_be_stopped():
    """It does not wait until it would let somebody in."""
    with served("tcp") as running, linked(running) as link:
        running.servers[Role.METER].mishaps.append(Mishap(drop=True, refuse_s=60.0))
        with pytest.raises(InstrumentLost):
            link.query("*OPC?")
        began = time.monotonic()
        running.stop()
        assert time.monotonic() - began < 2.0
