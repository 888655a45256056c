"""Faults on demand: they befall the message that they are told, and do what their kind says."""

from __future__ import annotations

import socket
import time
from typing import Any

import pytest

from batchtest.clock import VirtualClock
from batchtest.files.bench_faults import BenchFault
from batchtest.nouns import Role
from batchtest.simulated import start_bench
from batchtest.simulated.mishaps import Mishap
from test_simulated.desk import Desk, changed


def fault(kind: str, message: str = "*", role: str = "meter", at: int = 1, **keys: Any) -> BenchFault:
    """A fault of the meter at the first message that matches."""
    return BenchFault.model_validate({"role": role, "kind": kind, "message": message, "at": at, **keys})


@pytest.fixture
def desk() -> Desk:
    """Instruments without a fault so far."""
    return Desk()


def struck(desk: Desk, role: str = "meter") -> list[Mishap]:
    """The mishaps that wait for the transport."""
    return list(desk.by_role[Role(role)].faults.mishaps)


@pytest.mark.parametrize(
    ("when", "hit"),
    [
        pytest.param({"at": 2}, [False, True, False, False, False, False], id="at"),
        pytest.param({"every": 3}, [False, False, True, False, False, True], id="every"),
        pytest.param({"share": "100 %"}, [True] * 6, id="share"),
        pytest.param({"share": "0 %"}, [False] * 6, id="no-share"),
    ],
)
def test_a_fault_strikes_when_it_is_told(when: dict[str, Any], hit: list[bool]) -> None:
    """Counted are the messages that match its pattern, in whatever capitals, and no others."""
    told = BenchFault.model_validate({"role": "meter", "kind": "ignored command", "message": "*idn?", **when})
    desk = Desk(changed(mishaps=(told,)))
    found = []
    for _ in hit:
        assert desk.ask("meter", "*OPC?") == "1"
        found.append(desk.ask("meter", "*IDN?") == "")
    assert found == hit


def test_other_instruments_are_left_alone() -> None:
    """A fault is one role's."""
    desk = Desk(changed(mishaps=(fault("ignored command", at=1),)))
    assert desk.ask("scanner", "*OPC?") == "1"
    assert desk.ask("meter", "*OPC?") == ""


@pytest.mark.parametrize(
    ("kind", "keys", "mishap"),
    [
        pytest.param("late reply", {"lasts": "3 s"}, Mishap(late_s=3.0), id="late"),
        pytest.param("cut reply", {"keep": 1}, Mishap(keep=1), id="cut"),
        pytest.param("no terminator", {}, Mishap(no_ending=True), id="no-terminator"),
        pytest.param("slow drip", {"lasts": "2 s"}, Mishap(drip_s=2.0), id="drip"),
        pytest.param("garbage", {"text": "?!"}, Mishap(garbage=b"?!"), id="garbage"),
        pytest.param("non-ASCII", {}, Mishap(garbage=b"1 \xce\xa9"), id="non-ascii"),
        pytest.param("dropped connection", {}, Mishap(drop=True), id="dropped"),
        pytest.param("refused connection", {"lasts": "1 s"}, Mishap(drop=True, refuse_s=1.0), id="refused"),
        pytest.param("restart", {}, Mishap(drop=True), id="restart"),
    ],
)
def test_what_befalls_a_reply_is_left_for_the_transport(
    desk: Desk, kind: str, keys: dict[str, Any], mishap: Mishap
) -> None:
    """The instrument itself has carried out the message."""
    desk.by_role[Role.METER].faults.add(fault(kind, **keys))
    assert desk.ask("meter", "*OPC?") == "1"
    assert struck(desk) == [mishap]


@pytest.mark.parametrize("kind", ["restart", "silent restart"])
def test_a_restart_forgets_settings_and_outputs_and_takes_its_time(desk: Desk, kind: str) -> None:
    """Off, at zero, the power-on bit set; the next answer comes when it is up again."""
    for message in ("VOLT 12", "CURR 0.1", "OUTP ON", "*CLS"):
        desk.ask("supply", message)
    desk.by_role[Role.SUPPLY].faults.add(fault(kind, role="supply", lasts="20 s"))
    began = desk.now
    desk.ask("supply", "*OPC?")
    assert not desk.rack.supply.on
    assert (desk.ask("supply", "VOLT?"), desk.ask("supply", "*ESR?")) == ("+0.00000000E+00", "128")
    assert desk.now - began >= 20


def test_an_error_comes_into_the_queue(desk: Desk) -> None:
    """The message itself was done."""
    desk.by_role[Role.METER].faults.add(fault("error in the queue"))
    assert desk.ask("meter", "*OPC?") == "1"
    assert desk.errors("meter") == ['-310,"System error;on demand"']


def test_a_stale_value_is_the_last_reply_to_the_same_question(desk: Desk) -> None:
    """The first question has no old reply that could be handed out again, and is not counted."""
    desk.place()
    desk.by_role[Role.SUPPLY].faults.add(fault("stale value", "VOLT?", "supply"))
    desk.ask("supply", "VOLT 5")
    assert desk.numbers("supply", "VOLT?") == [5]
    desk.ask("supply", "VOLT 9")
    assert desk.numbers("supply", "VOLT?") == [5]
    assert desk.numbers("supply", "VOLT?") == [9]


def test_a_clipped_set_point_is_half_of_what_was_asked(desk: Desk) -> None:
    """The channel behind it stays what it was."""
    desk.by_role[Role.LOAD].faults.add(fault("clipped set-point", "CURR *", "load"))
    desk.ask("load", "CURR 0.04,(@2)")
    assert desk.numbers("load", "CURR? (@2)") == [0.02]


def test_a_protection_trips_and_a_clear_brings_the_output_back(desk: Desk) -> None:
    """Both on demand, each as the instrument's own status has it."""
    faults = desk.by_role[Role.SUPPLY].faults
    faults.add(fault("protection trip", "VOLT?", "supply"), fault("back on after a clear", "OUTP:PROT:CLE", "supply"))
    for message in ("VOLT 5", "CURR 0.1", "OUTP ON", "VOLT?"):
        desk.ask("supply", message)
    assert (desk.ask("supply", "OUTP?"), desk.ask("supply", "STAT:QUES:COND?")) == ("0", "1")
    desk.ask("supply", "OUTP:PROT:CLE")
    assert desk.ask("supply", "OUTP?") == "1"


def test_a_mode_change_drops_the_input(desk: Desk) -> None:
    """As many loads do, unasked."""
    desk.by_role[Role.LOAD].faults.add(fault("input dropped", "FUNC *", "load"))
    for message in ("INP ON,(@1)", "FUNC CURR,(@1)"):
        desk.ask("load", message)
    assert desk.ask("load", "INP? (@1)") == "0"


def test_a_key_is_pressed_before_the_message(desk: Desk) -> None:
    """Somebody changes a setting at the instrument itself."""
    desk.by_role[Role.SUPPLY].faults.add(fault("front-panel key", "VOLT?", "supply", text="VOLT 3"))
    desk.ask("supply", "VOLT 5")
    assert desk.numbers("supply", "VOLT?") == [3]


@pytest.mark.parametrize("text", ["9.9E37", "-9.9E37", "9.91E37", "OL", "", "nan"])
def test_over_range_comes_in_every_spelling(desk: Desk, text: str) -> None:
    """One for each value that was asked for."""
    desk.by_role[Role.METER].faults.add(fault("over-range", "READ?", text=text))
    desk.ask("meter", "SAMP:COUN 3")
    assert desk.ask("meter", "READ?") == f"{text},{text},{text}"


def test_a_refused_port_comes_back_after_its_time() -> None:
    """The connection is dropped, nobody is let in, and then the instrument is there again, on its old port."""
    told = fault("refused connection", lasts="200 ms")
    with start_bench(changed(mishaps=(told,)), VirtualClock()) as running:
        host, port = "127.0.0.1", running.servers[Role.METER].port
        with socket.create_connection((host, port), 2) as client:
            client.sendall(b"*OPC?\n")
            assert client.recv(10) == b""
        with pytest.raises(ConnectionRefusedError):
            socket.create_connection((host, port), 2).close()
        deadline = time.monotonic() + 5
        while time.monotonic() < deadline:
            try:
                with socket.create_connection((host, port), 2) as client:
                    client.sendall(b"*OPC?\n")
                    assert client.recv(10) == b"1\n"
                return
            except ConnectionRefusedError:
                time.sleep(0.02)
    pytest.fail("nobody was let in again")


def test_slow_bytes_come_one_by_one() -> None:
    """Over the wire too."""
    told = fault("slow drip", lasts="1 s")
    clock = VirtualClock()
    with (
        start_bench(changed(mishaps=(told,)), clock) as running,
        socket.create_connection(("127.0.0.1", running.servers[Role.METER].port), 2) as client,
    ):
        began = clock.now()
        client.sendall(b"*OPC?\n")
        received = b""
        while not received.endswith(b"\n"):
            received += client.recv(10)
        assert (received, clock.now() - began) == (b"1\n", 1.0)


@pytest.mark.parametrize("transport", ["tcp", "pty", "hislip", "vxi11", "direct"])
def test_faults_strike_on_every_transport(transport: str) -> None:
    """What befalls a reply is taken from the instrument by whatever serves it."""
    with start_bench(changed(transport=transport), VirtualClock()) as running:
        for role, instrument in running.instruments.by_role().items():
            assert running.servers[role].mishaps is instrument.faults.mishaps
