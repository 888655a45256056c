"""The simulated meter: functions, ranges, times, over-range, and what it sees through the scanner."""

from __future__ import annotations

import pytest

from test_simulated.desk import Desk, changed

OVER = 9.9e37


@pytest.fixture
def desk() -> Desk:
    """A bench with a good board in the nest."""
    desk = Desk()
    desk.place()
    return desk


def test_a_reading_takes_count_times_integration(desk: Desk):
    """Three values of 10 line cycles at 50 Hz: 0.6 s and a little more."""
    desk.ask("meter", "CONF:VOLT:DC 10;:SAMP:COUN 3")
    begin = desk.now
    desk.ask("meter", "READ?")
    assert 0.6 < desk.now - begin < 0.61


def test_a_change_of_function_resets_integration_and_count(desk: Desk):
    """To 10 line cycles and one value, as common bench meters do."""
    desk.ask("meter", "VOLT:DC:NPLC 1;:RES:NPLC 1;:SAMP:COUN 5")
    assert (
        desk.ask("meter", "CONF:RES 1000;:RES:NPLC?;:VOLT:DC:NPLC?;:SAMP:COUN?") == "+1.00000000E+01;+1.00000000E+00;1"
    )
    assert desk.ask("meter", "*RST;:VOLT:NPLC?;:TRIG:SOUR IMM;SOUR?") == "+1.00000000E+01;IMM"


@pytest.mark.parametrize(
    "message", ["CONF:VOLT:DC 2000", "VOLT:NPLC 0", "SAMP:COUN 0", "CONF:RES 1 V", "TRIG:SOUR BUS"]
)
def test_settings_that_cannot_be_are_refused(desk: Desk, message: str):
    """With an error in the queue."""
    desk.ask("meter", message)
    assert len(desk.errors("meter")) == 1


def test_the_reference_is_read(desk: Desk):
    """5 V on its own channel, board or not."""
    assert desk.volts(140, 10)[0] == pytest.approx(5, abs=1e-3)


@pytest.mark.parametrize(("range_V", "over"), [(1, True), (10, False), (100, False)])
def test_a_value_beyond_the_range_is_over_range(desk: Desk, range_V: float, over: bool):
    """5 V on the 1 V range has no value."""
    assert (desk.volts(140, range_V)[0] == OVER) is over


def test_a_negative_value_beyond_the_range_is_negative_over_range(desk: Desk):
    """The bias rail on the 100 mV range."""
    desk.power()
    assert desk.volts(105, 0.1) == [-OVER]


def test_without_a_range_the_meter_chooses(desk: Desk):
    """Resolution and value of the smallest range that fits."""
    desk.close(140)
    assert desk.numbers("meter", "CONF:VOLT:DC;:READ?")[0] == pytest.approx(5, abs=1e-3)
    desk.close(106)
    assert desk.numbers("meter", "CONF:RES;:READ?")[0] == pytest.approx(1000, rel=0.012)


def test_the_id_resistor_is_the_fitted_cables(desk: Desk):
    """1 kohm with the fixture's own cable, 2.2 kohm with the look-alike."""
    assert desk.ohms(106)[0] == pytest.approx(1000, rel=0.011)
    other = Desk(changed(cable="mist-lead"))
    other.place()
    assert other.ohms(106, 10_000)[0] == pytest.approx(2200, rel=0.011)


def test_ohms_are_read_through_the_real_circuit(desk: Desk):
    """A good board's 5 V rail has some hundred ohms to signal ground, a fifth of that within a few time constants."""
    assert 200 < desk.ohms(103)[0] < 400


def test_a_shorted_rail_reads_as_a_short():
    """The short's 20 mohm, seen cold."""
    desk = Desk(changed(boards={"VN-0001": "RL5 short"}))
    desk.place()
    assert abs(desk.ohms(103, 100)[0]) < 1


def test_ohms_beyond_range_or_compliance_are_over_range(desk: Desk):
    """The feed's 3 kohm on the 1 kohm range."""
    assert desk.ohms(101)[0] == OVER


def test_ohms_need_time_to_settle(desk: Desk):
    """At once after the current goes on the voltage has not risen yet."""
    desk.close(103)
    early = desk.numbers("meter", "CONF:RES 1000;:RES:NPLC 0.1;:READ?")[0]
    desk.now += 0.2
    assert early < 0.5 * desk.numbers("meter", "READ?")[0]


def test_residual_voltage_spoils_ohms(desk: Desk):
    """On a powered rail the reading is no resistance of it."""
    cold = desk.ohms(103)[0]
    desk.power(5)
    assert desk.ohms(103)[0] > 2 * cold


def test_the_diode_function_reads_a_drop(desk: Desk):
    """The series diode and what follows it, in volts; an open is over range."""
    desk.close(101)
    drop = desk.numbers("meter", "CONF:DIOD;:DIOD:NPLC 1;:READ?")[0]
    assert 1 < drop < 4
    desk.ask("scanner", "ROUT:OPEN:ALL")
    assert desk.numbers("meter", "READ?") == [OVER]


def test_a_drop_beyond_the_diode_range_is_over_range(desk: Desk):
    """24 V powered is none."""
    desk.power()
    desk.close(101)
    assert desk.numbers("meter", "CONF:DIOD;:READ?") == [OVER]


def test_an_open_input_reads_about_nothing_and_no_ohms(desk: Desk):
    """All relays open: millivolts, and over range."""
    desk.power()
    desk.ask("scanner", "ROUT:OPEN:ALL")
    volts = desk.numbers("meter", "CONF:VOLT:DC 10;:SAMP:COUN 20;:READ?")
    assert 1e-4 < max(map(abs, volts)) < 0.02
    assert desk.numbers("meter", "CONF:RES 1000;:READ?") == [OVER]


def test_needles_that_touch_read_tenths_of_an_ohm(desk: Desk):
    """Each contact channel its own."""
    ohms = [desk.ohms(channel, 100)[0] for channel in (201, 203, 301, 302)]
    assert all(0.08 < value < 0.32 for value in ohms)
    assert len(set(ohms)) == 4


def test_a_needle_that_does_not_touch_reads_zero_volts_and_no_ohms():
    """An open probe looks like a discharged rail: only the contact check tells."""
    desk = Desk(changed(open_needles=("TP3",)))
    desk.place()
    desk.power()
    assert abs(desk.volts(103, 10)[0]) < 0.02
    assert (desk.ohms(103)[0], desk.ohms(203, 100)[0]) == (OVER, OVER)
    assert desk.volts(102)[0] > 11


def test_an_empty_nest_touches_nothing():
    """No contact, no ohms, no volts."""
    desk = Desk()
    assert (desk.ohms(203, 100)[0], desk.ohms(103)[0]) == (OVER, OVER)
    assert abs(desk.volts(103)[0]) < 0.02


def test_a_relay_that_is_still_closing_connects_nothing(desk: Desk):
    """A reading that starts at once after the command sees the open input."""
    begin = desk.now
    desk.ask("scanner", "ROUT:CLOS (@140)")
    reply, _ = desk.instruments.meter.execute_at(b"VOLT:DC:NPLC 0.1;:READ?", begin + 0.001)
    assert abs(float(reply)) < 0.1
