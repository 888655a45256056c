"""Reading back that the bench is as it was left: whatever changed by itself, or by a hand, stops."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from dialects import PAIRINGS, in_styles
from stations import demo_setup

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.errors import InstrumentRefused, InstrumentReplyError
from batchtest.nouns import Measurand, Role
from batchtest.simulated import RunningBench, start_bench
from test_bench.benches import ScriptedBench, scripted_bench


@pytest.fixture
def scripted() -> Iterator[ScriptedBench]:
    """A scripted bench."""
    with scripted_bench() as made:
        yield made


@pytest.fixture
def bench(scripted: ScriptedBench, tmp_path: Path) -> Iterator[Bench]:
    """That bench, opened and in use: a relay closed, the meter set, supply and a load channel on."""
    with Bench.open(scripted.file, "try", VirtualClock(), tmp_path) as opened:
        opened.make_safe()
        opened.supply.set(12.0, 0.2)
        opened.supply.on()
        opened.load.set_current(2, 0.02)
        opened.load.on(2)
        opened.scanner.close(103)
        opened.meter.configure(Measurand.VOLTAGE, 10.0, 1.0, 3)
        yield opened


def test_a_bench_that_was_left_alone_is_confirmed_with_its_status(bench: Bench) -> None:
    """All status words, raw."""
    assert bench.confirm().raw == "supply=0 supply-questionable=0 load=0"


Change = Callable[[ScriptedBench], object]
CHANGES: dict[str, tuple[Change, str]] = {
    "relay-fell-off": (lambda on: on.relays.closed.clear(), r"scanner: \(@\) closed, and \(@103\) was"),
    "function": (lambda on: on.values("CONF:RES 10"), r"meter: 'FUNC\?' is '\"RES\"', and it was set to voltage"),
    "range": (lambda on: on.values("CONF:VOLT:DC 100"), r"meter: 'VOLT:DC:RANG\?' is 100\.0, and .* range 10"),
    "integration": (lambda on: on.values("VOLT:DC:NPLC 0.02"), r"is 0\.02, and it was set to 1 power-line cycles"),
    "supply-off": (lambda on: on.power("OUTP OFF"), "supply: is off and was left on; was it touched"),
    "voltage": (lambda on: on.power("VOLT 13"), r"supply: holds 13\.00 V and was set to 12\.00 V"),
    "limit": (lambda on: on.power("CURR 0.1"), r"supply: holds 100\.0 mA and was set to 200\.0 mA"),
    "supply-tripped": (
        lambda on: on.power.held.update({"STAT:QUES:COND": "1"}),
        r"supply: its own protection has acted \(over-voltage; supply=0 supply-questionable=1\)",
    ),
    "load-off": (lambda on: on.loads("INP OFF,(@2)"), "load channel 2: is off and was left on"),
    "another-channel-on": (lambda on: on.loads("INP ON,(@1)"), "load channel 1: is on and was left off"),
    "current": (lambda on: on.loads("CURR 0.03,(@2)"), r"load channel 2: holds 30\.00 mA and was set to 20\.00 mA"),
    "mode": (lambda on: on.loads("FUNC RES,(@2)"), "load channel 2: is in mode 'RES' and was left in 'CURR'"),
    "load-tripped": (lambda on: on.loads.held.update({"STAT:QUES:COND": "8"}), r"\(over-power; load=8\)"),
    "unknown-bit": (lambda on: on.loads.held.update({"STAT:QUES:COND": "32"}), "bit 5 of 'load'"),
    "error": (
        lambda on: on.instruments["meter"].errors.append('-230,"old; stale"'),
        "an error .* nothing asked for: -230",
    ),
}


@pytest.mark.parametrize(("change", "message"), CHANGES.values(), ids=CHANGES)
def test_what_is_not_as_it_was_left_stops(bench: Bench, scripted: ScriptedBench, change: Change, message: str) -> None:
    """A pressed key, a restart, a protection: what was read meanwhile does not count."""
    change(scripted)
    with pytest.raises(InstrumentRefused, match=message):
        bench.confirm()


@pytest.mark.parametrize(
    ("change", "message"),
    [
        pytest.param(
            lambda on: on.power("VOLT:PROT 33"), r"supply: holds 33\.00 V and was set to 26\.00 V", id="supply"
        ),
        pytest.param(lambda on: on.loads("POW:PROT 300,(@3)"), "load channel 3: holds 300.0 W", id="load"),
    ],
)
def test_limits_that_a_restart_forgot_are_seen_before_power(
    bench: Bench, scripted: ScriptedBench, change: Change, message: str
) -> None:
    """The instruments' own limits are what is left when this program is not."""
    bench.confirm_protection()
    change(scripted)
    with pytest.raises(InstrumentRefused, match=message):
        bench.confirm_protection()


def test_joined_questions_need_as_many_answers(bench: Bench, scripted: ScriptedBench) -> None:
    """One answer too few, and none of them is believed."""
    scripted.instruments["supply"].misbehave("OUTP?;", b"1;12.0;0.2\n")
    with pytest.raises(InstrumentReplyError, match="has 3 answers, 6 were asked for"):
        bench.confirm()


def test_a_bench_brought_back_begins_as_after_opening(bench: Bench, scripted: ScriptedBench) -> None:
    """Every instrument is proven anew and reset, everything is off, and nothing that was remembered counts."""
    for server in scripted.servers.values():
        server.drop()
    for instrument in scripted.instruments.values():
        instrument.heard.clear()
    bench.bring_back()
    for instrument in scripted.instruments.values():
        assert "*IDN?" in instrument.heard
    assert scripted.instruments["supply"].heard[-2:] == ["OUTP OFF", "OUTP?"]
    assert not bench.scanner.is_closed(103)
    bench.confirm()


def test_a_move_that_was_cut_short_is_looked_at_before_it_is_made_again(bench: Bench, scripted: ScriptedBench) -> None:
    """The board may lie in the nest already; it is not moved blindly."""
    handler, instrument = bench.handler, scripted.instruments["handler"]
    assert handler is not None
    instrument.misbehave("*OPC?", None)
    with pytest.raises(Exception, match="handler"):
        handler.place("VN-0001")
    instrument.heard.clear()
    handler.place("VN-0001")
    assert not [message for message in instrument.heard if message.startswith("NEST:PLAC")]
    scripted.nest.board = ""
    handler.place("VN-0001")
    assert [message for message in instrument.heard if message.startswith("NEST:PLAC")] == ['NEST:PLAC "VN-0001"']


def touch(running: RunningBench, role: str, message: str) -> None:
    """Have an instrument behind its face do what a pressed key does."""
    instrument = running.instruments.by_role()[Role(role)]
    instrument.execute_at(message.encode("ascii"), instrument.moment)


@pytest.mark.parametrize(
    ("role", "key", "said"),
    [
        pytest.param("supply", "OUTP OFF", "supply: is off and was left on", id="supply-off"),
        pytest.param("supply", "VOLT 13", r"supply: holds 13\.00 V and was set to 12\.00 V", id="voltage"),
        pytest.param("load", "INP OFF,(@2)", "load channel 2: is off and was left on", id="load-off"),
        pytest.param(
            "load", "CURR 0.03,(@2)", r"load channel 2: holds 30\.00 mA and was set to 20\.00 mA", id="current"
        ),
        pytest.param(
            "load", "FUNC VOLT,(@2);:INP ON,(@2)", "load channel 2: is in mode '.*' and was left in", id="mode"
        ),
        pytest.param("scanner", "ROUT:OPEN:ALL", r"scanner: \(@\) closed, and \(@103\) was", id="relay"),
        pytest.param("meter", "CONF:RES 100", "meter: .* it was set to voltage", id="function"),
        pytest.param("meter", "CONF:VOLT:DC 100", "meter: .* range 10", id="range"),
    ],
)
@pytest.mark.parametrize("styles", PAIRINGS, ids="+".join)
def test_every_style_is_read_back(tmp_path: Path, styles: tuple[str, ...], role: str, key: str, said: str) -> None:
    """As far as its dialect can ask: left alone it is confirmed, and a pressed key is seen."""
    clock = VirtualClock()
    with (
        start_bench(in_styles(demo_setup(), *styles), clock) as running,
        Bench.open(running.bench_file, "try", clock, tmp_path) as bench,
    ):
        bench.make_safe()
        bench.confirm_protection()
        for load in running.rack.loads.values():
            load.under_V = 0.0  # nothing lies in the nest
        bench.supply.set(12.0, 0.2)
        bench.supply.on()
        bench.load.set_current(2, 0.02)
        bench.load.on(2)
        bench.scanner.close(103)
        bench.meter.configure(Measurand.VOLTAGE, 10.0, 1.0, 3)
        bench.confirm(drawing=2)
        touch(running, role, key)
        with pytest.raises(InstrumentRefused, match=said):
            bench.confirm(drawing=2)
