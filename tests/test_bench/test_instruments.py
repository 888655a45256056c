"""Meter, load, supply, scanner and handler: what is set is read back, and what is not understood stops."""

from __future__ import annotations

import math
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.errors import (
    BenchError,
    InstrumentRefused,
    InstrumentReplyError,
    InstrumentTimeout,
    OutputsNotOff,
    SetupError,
)
from batchtest.nouns import Measurand
from test_bench.benches import ScriptedBench, scripted_bench


@contextmanager
def opened(tmp_path: Path, **options: Any) -> Iterator[tuple[Bench, ScriptedBench]]:
    """A bench opened on scripted instruments; what was heard while opening is forgotten."""
    with (
        scripted_bench(**options) as scripted,
        Bench.open(scripted.file, "try", VirtualClock(), tmp_path) as bench,
    ):
        for instrument in scripted.instruments.values():
            instrument.heard.clear()
        yield bench, scripted


SETTINGS_DONE = ["*OPC?;:SYST:ERR?"]


def test_the_meter_is_configured_only_where_it_changes(tmp_path: Path) -> None:
    """Selecting resets integration and count, so they follow; what is the same is not sent again."""
    with opened(tmp_path) as (bench, scripted):
        heard = scripted.instruments["meter"].heard
        bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        assert heard == [
            "CONF:VOLT:DC 10",
            "SENS:VOLT:DC:NPLC 1",
            "SAMP:COUN 3",
            "TRIG:SOUR IMM",
            *SETTINGS_DONE,
            "READ?",
        ]
        for count, settings in ((3, []), (2, ["SAMP:COUN 2", *SETTINGS_DONE])):
            heard.clear()
            bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, count)
            assert heard == [*settings, "READ?"]
        heard.clear()
        bench.meter.read(Measurand.VOLTAGE, 10.0, 10.0, 2)
        assert heard == ["SENS:VOLT:DC:NPLC 10", *SETTINGS_DONE, "READ?"]


def test_the_meter_is_configured_anew_after_its_link_was_lost(tmp_path: Path) -> None:
    """After an error nobody knows what the meter is set to."""
    with opened(tmp_path, reply="50 ms") as (bench, scripted):
        meter = scripted.instruments["meter"]
        bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        meter.misbehave("READ?")
        with pytest.raises(InstrumentTimeout):
            bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        meter.heard.clear()
        bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 3)
        assert [message for message in meter.heard if not message.startswith(("*", "SYST"))] == [
            "CONF:VOLT:DC 10",
            "SENS:VOLT:DC:NPLC 1",
            "SAMP:COUN 3",
            "TRIG:SOUR IMM",
            "READ?",
        ]


@pytest.mark.parametrize(
    ("measurand", "function"),
    [
        (Measurand.VOLTAGE, "CONF:VOLT:DC 100"),
        (Measurand.RESISTANCE, "CONF:RES 100"),
        (Measurand.CONTACT, "CONF:RES 100"),
        (Measurand.DIODE, "CONF:DIOD"),
    ],
)
def test_each_measurand_has_its_function(tmp_path: Path, measurand: Measurand, function: str) -> None:
    """A measurand is read with its own function."""
    with opened(tmp_path) as (bench, scripted):
        bench.meter.read(measurand, 100.0, 1.0, 2)
        assert scripted.values.function == function


def test_the_integration_that_cannot_be_set_is_told(tmp_path: Path) -> None:
    """The diode function has the integration that selecting leaves; the others what is asked for."""
    with opened(tmp_path) as (bench, _):
        assert bench.meter.cycles(Measurand.DIODE, 1.0) == 10.0
        assert bench.meter.cycles(Measurand.VOLTAGE, 1.0) == 1.0


def test_a_measurand_that_the_meter_lacks_is_refused(tmp_path: Path) -> None:
    """A dialect may lack a function; nothing is read with another one in its place."""
    with opened(tmp_path) as (bench, _), pytest.raises(SetupError, match="cannot read supply current"):
        bench.meter.read(Measurand.CURRENT, 1.0, 1.0, 2)


@pytest.mark.parametrize(
    ("reply", "value"),
    [("+9.90000000E+37", math.inf), ("-9.90000000E+37", -math.inf), ("OL", math.inf), ("9.91E37", math.nan)],
)
def test_over_range_comes_as_its_own_value(tmp_path: Path, reply: str, value: float) -> None:
    """Over range is no number, and the raw reply is kept beside it."""
    with opened(tmp_path) as (bench, scripted):
        scripted.values.read = lambda function: reply
        got = bench.meter.read(Measurand.RESISTANCE, 100.0, 1.0, 2)
        assert got.raw == f"{reply},{reply}"
        assert all(math.isnan(read) if math.isnan(value) else read == value for read in got.values)


def test_an_empty_reading_is_an_error(tmp_path: Path) -> None:
    """An empty reply is no over-range unless the dialect says so."""
    with opened(tmp_path) as (bench, scripted):
        scripted.values.read = lambda function: ""
        with pytest.raises(InstrumentReplyError, match="is not a number"):
            bench.meter.read(Measurand.VOLTAGE, 10.0, 1.0, 2)


@pytest.mark.parametrize(
    ("held", "message"),
    [("CURR1", "holds 30.00 mA"), ("INP1", "channel 1 does not switch on")],
    ids=["clipped", "does-not-switch"],
)
def test_what_the_load_does_not_take_is_refused(tmp_path: Path, held: str, message: str) -> None:
    """A current that was clipped, or an input that stays off, stops at once."""
    with opened(tmp_path) as (bench, scripted):
        scripted.loads.stuck[held] = {"CURR1": "+3.0E-02", "INP1": "0"}[held]
        with pytest.raises(InstrumentRefused, match=message):
            _draw(bench, 0.04)


def _draw(bench: Bench, amperes: float) -> None:
    bench.load.set_current(1, amperes)
    bench.load.on(1)


def test_a_load_channel_is_set_switched_and_measured(tmp_path: Path) -> None:
    """Current, state and what the channel sees, in whatever words the load uses."""
    with opened(tmp_path) as (bench, scripted):
        bench.load.set_current(2, 0.02)
        bench.load.on(2)
        scripted.loads.held |= {"MEAS:VOLT2": "+4.98E+00", "MEAS:CURR2": "2.001E-02", "STAT:QUES:COND": "1024"}
        state = bench.load.measured(2)
        assert (state.volts, state.amperes, state.status.raw) == (4.98, 0.02001, "load=1024")
        assert state.status.conditions == {"unregulated"}
        assert not state.status.tripped
        assert bench.load.is_on(2)
        bench.load.off(2)
        assert not bench.load.is_on(2)


def test_a_channel_that_the_load_does_not_have_is_refused(tmp_path: Path) -> None:
    """Asking for channel 9 of three is a bug, not a message."""
    with opened(tmp_path) as (bench, _), pytest.raises(ValueError, match="load channel 9 is not one of"):
        bench.load.set_current(9, 0.1)


def test_a_status_bit_that_nobody_knows_stops(tmp_path: Path) -> None:
    """Nobody can say that an unknown bit is harmless."""
    with opened(tmp_path) as (bench, scripted):
        scripted.loads.held["STAT:QUES:COND"] = "32"
        with pytest.raises(InstrumentRefused, match="load: bit 5 of 'load' is set and the dialect does not know it"):
            bench.load.status(1)


def test_the_supply_says_when_it_limits_its_current(tmp_path: Path) -> None:
    """Constant current is told from the status register, whatever the readings look like."""
    with opened(tmp_path) as (bench, scripted):
        bench.supply.set(24.0, 0.5)
        bench.supply.on()
        scripted.power.held |= {"MEAS:VOLT": "+2.4E+01", "MEAS:CURR": "+5.0E-01", "STAT:OPER:COND": "+1024"}
        state = bench.supply.measured()
        assert (state.volts, state.amperes, state.limiting) == (24.0, 0.5, True)
        assert state.status.raw == "supply=1024 supply-questionable=0"
        assert state.raw == "+2.4E+01;+5.0E-01"
        bench.supply.off()
        assert not bench.supply.is_on()


@pytest.mark.parametrize("reply", ["9.9E37", "9.91E37"])
def test_a_read_back_without_a_value_is_an_error(tmp_path: Path, reply: str) -> None:
    """A supply that cannot tell its current gives no reading."""
    with opened(tmp_path) as (bench, scripted):
        scripted.power.held["MEAS:CURR"] = reply
        with pytest.raises(InstrumentReplyError, match="says that there is no value"):
            bench.supply.measured()


def test_a_supply_that_does_not_switch_on_is_refused(tmp_path: Path) -> None:
    """Without its output on there is nothing to measure."""
    with opened(tmp_path) as (bench, scripted):
        scripted.power.stuck["OUTP"] = "0"
        with pytest.raises(InstrumentRefused, match="output does not switch on; has it tripped"):
            bench.supply.on()


def test_the_scanner_closes_exactly_these_channels(tmp_path: Path) -> None:
    """All others are opened first; what is closed already is left alone, and the relays are given time to settle."""
    with opened(tmp_path) as (bench, scripted):
        heard = scripted.instruments["scanner"].heard
        bench.scanner.close(101, 131)
        assert scripted.relays.closed == [101, 131]
        assert heard[0] == "ROUT:OPEN:ALL"
        heard.clear()
        bench.scanner.close(131, 101)
        assert heard == []
        began = bench.clock.now()
        bench.scanner.close(102)
        assert bench.clock.now() - began == pytest.approx(0.005)
        assert scripted.relays.closed == [102]
        bench.scanner.open_all()
        heard.clear()
        bench.scanner.close(103)
        assert heard[0] == "ROUT:CLOS (@103)"


def test_a_stuck_relay_is_found(tmp_path: Path) -> None:
    """Other channels closed than asked for would measure something else."""
    with opened(tmp_path) as (bench, scripted):
        bench.scanner.close(102)
        scripted.relays.stuck = [140]
        with pytest.raises(InstrumentRefused, match=r"\(@101,140\) closed in place of \(@101\); a stuck relay"):
            bench.scanner.close(101)
        assert not bench.scanner.is_closed(101)
        assert not bench.scanner.is_closed(102)


def test_what_is_closed_is_asked_again_after_the_link_was_lost(tmp_path: Path) -> None:
    """After an error nobody knows which relays are closed."""
    with opened(tmp_path, reply="50 ms") as (bench, scripted):
        bench.scanner.close(101)
        scripted.servers["scanner"].drop()
        with pytest.raises(BenchError):
            bench.scanner.close(102)
        bench.scanner.close(101)
        assert scripted.relays.closed == [101]


def test_the_handler_places_the_board_named(tmp_path: Path) -> None:
    """The serial in the nest is read back; an empty nest is none."""
    with opened(tmp_path) as (bench, scripted):
        handler = bench.handler
        assert handler is not None
        handler.place("VN-0001")
        assert handler.board() == "VN-0001"
        assert handler.lid_closed()
        handler.eject()
        assert handler.board() is None
        scripted.instruments["handler"].misbehave("NEST:BOAR?", b'"VN-0002"\n')
        with pytest.raises(InstrumentRefused, match="VN-0002 lies in the nest in place of VN-0001"):
            handler.place("VN-0001")


def test_the_handler_fits_the_cable_named(tmp_path: Path) -> None:
    """The cable is read back; another one, or none, is refused."""
    with opened(tmp_path) as (bench, scripted):
        handler = bench.handler
        assert handler is not None
        assert handler.can_fit_cables
        assert handler.cable() == "vent-lead"
        handler.fit_cable("mist-lead")
        assert (scripted.nest.cable, handler.cable()) == ("mist-lead", "mist-lead")
        scripted.instruments["handler"].misbehave("NEST:CABL?", b'"vent-lead"\n')
        with pytest.raises(InstrumentRefused, match="handler: vent-lead is fitted in place of mist-lead"):
            handler.fit_cable("mist-lead")
        scripted.nest.cable = ""
        assert handler.cable() is None
        scripted.instruments["handler"].misbehave("NEST:CABL?", b'""\n')
        with pytest.raises(InstrumentRefused, match="no cable is fitted in place of mist-lead"):
            handler.fit_cable("mist-lead")


def test_a_handler_has_its_time_to_fit_a_cable(tmp_path: Path) -> None:
    """A move lasts longer than a setting."""
    with opened(tmp_path, reply="100 ms") as (bench, scripted):
        assert bench.handler is not None
        scripted.instruments["handler"].misbehave("*OPC?", 0.3, b"1\n")
        bench.handler.fit_cable("mist-lead")
        assert bench.handler.cable() == "mist-lead"


def test_a_handler_that_cannot_change_cables_says_so(tmp_path: Path) -> None:
    """Its dialect has no command for it, and nothing is sent."""
    with opened(tmp_path) as (bench, scripted):
        handler = bench.handler
        assert handler is not None
        handler.dialect = handler.dialect.model_copy(update={"fit": None, "cable": None})
        heard = scripted.instruments["handler"].heard
        heard.clear()
        assert not handler.can_fit_cables
        for ask in (handler.cable, lambda: handler.fit_cable("mist-lead")):
            with pytest.raises(SetupError, match=r"handler: its dialect has no fit, .*; fit the cable by hand"):
                ask()
        assert heard == []


def test_a_load_that_selects_its_channel_first_is_told_so(tmp_path: Path) -> None:
    """Where commands do not name the channel, selecting it goes before each, for switching off too."""
    with opened(tmp_path) as (bench, scripted):
        bench.load.dialect = bench.load.dialect.model_copy(update={"select": "INST {channel}", "channel_lists": False})
        heard = scripted.instruments["load"].heard
        scripted.loads.held.clear()
        bench.load.off(2)
        assert heard == ["INST 2", "INP OFF,(@2)", "INST 2", *SETTINGS_DONE, "INP? (@2)"]


def test_an_output_that_stays_on_is_not_off(tmp_path: Path) -> None:
    """Off is what reads back as off."""
    with opened(tmp_path) as (bench, scripted):
        scripted.loads.stuck["INP2"] = "1"
        with pytest.raises(OutputsNotOff, match="load channel 2 is still on"):
            bench.load.off()
        scripted.loads.stuck.clear()
        scripted.power.stuck["OUTP"] = "1"
        with pytest.raises(OutputsNotOff, match="supply is still on"):
            bench.supply.off()
        scripted.power.stuck.clear()


def test_a_trip_is_cleared_and_the_output_switched_off_again(tmp_path: Path) -> None:
    """Clearing a protection may switch the output on at its old value: "off" follows at once."""
    with opened(tmp_path) as (bench, scripted):
        scripted.loads.held["STAT:QUES:COND"] = "8194"
        scripted.power.held["STAT:QUES:COND"] = "1"
        bench.make_safe()
        for role, clear, off in (
            ("load", "INP:PROT:CLE (@1)", "INP OFF,(@1)"),
            ("supply", "OUTP:PROT:CLE", "OUTP OFF"),
        ):
            heard = scripted.instruments[role].heard
            at = heard.index(clear)
            assert heard[at + 1 : at + 3] == [*SETTINGS_DONE, off]


def test_event_registers_are_read_and_dropped_before_use(tmp_path: Path) -> None:
    """What an event register shows later happened later."""
    with opened(tmp_path) as (bench, scripted):
        dialect = bench.supply.dialect
        event = dialect.status[1].model_copy(update={"kind": "event", "query": "STAT:QUES:EVEN?"})
        bench.supply.dialect = dialect.model_copy(update={"status": (dialect.status[0], event)})
        bench.supply.protect()
        assert scripted.instruments["supply"].heard[0] == "STAT:QUES:EVEN?"
