"""The simulated supply and load: regulation, limits, protections, read-back."""

from __future__ import annotations

import math

import pytest

from test_simulated.desk import Desk

CV, CC, OVER_VOLTAGE = 256, 1024, 1
OVER_CURRENT, OVER_POWER, UNREGULATED, SHUT_DOWN = 2, 8, 1024, 8192


@pytest.fixture
def desk() -> Desk:
    """A bench with a good board in the nest."""
    desk = Desk()
    desk.place()
    return desk


def status(desk: Desk, role: str, register: str = "QUES") -> int:
    """A condition register."""
    return int(desk.ask(role, f"STAT:{register}:COND?"))


class TestSupply:
    """The bench supply."""

    def test_settings_are_read_back(self, desk: Desk):
        """What was set is what it holds."""
        desk.ask("supply", "VOLT 12;CURR 0.2;VOLT:PROT 26;:OUTP ON")
        assert desk.numbers("supply", "VOLT?;CURR?;VOLT:PROT?") == [12, 0.2, 26]

    def test_reset_switches_off(self, desk: Desk):
        """Output off, nothing set, protection at its highest."""
        desk.power()
        desk.ask("supply", "*RST")
        assert not desk.instruments.supply.output_on
        assert desk.numbers("supply", "OUTP?;VOLT?;CURR?") == [0, 0, 0]
        assert desk.numbers("supply", "VOLT:PROT?")[0] > 30

    def test_constant_voltage(self, desk: Desk):
        """With current to spare the terminals are where they were set, and the board draws what it needs."""
        desk.power(24, 0.3)
        volts, amperes = desk.numbers("supply", "MEAS:VOLT?;CURR?")
        assert volts == pytest.approx(24, abs=0.03)
        assert 0.05 < amperes < 0.1
        assert status(desk, "supply", "OPER") == CV

    def test_constant_current(self, desk: Desk):
        """At its limit the voltage gives way and the current is the limit."""
        desk.power(24, 0.02)
        volts, amperes = desk.numbers("supply", "MEAS:VOLT?;CURR?")
        assert volts < 20
        assert amperes == pytest.approx(0.02, abs=4e-3)
        assert status(desk, "supply", "OPER") == CC

    def test_inrush_is_in_the_limit_and_passes(self, desk: Desk):
        """While the board charges the supply gives its limit, a moment later no more."""
        desk.power(24, 0.3, rest_s=0.0)
        assert desk.rack.supply_amperes(desk.now - 0.002) == pytest.approx(0.3)
        assert desk.rack.supply_limiting(desk.now - 0.002)
        desk.now += 0.2
        assert desk.rack.supply_amperes(desk.now) < 0.1

    def test_off_delivers_nothing(self, desk: Desk):
        """No status, no current, and the board bleeds down."""
        desk.power()
        desk.ask("supply", "OUTP OFF")
        desk.now += 5
        assert desk.numbers("supply", "MEAS:VOLT?;CURR?") == pytest.approx([0, 0], abs=0.02)
        assert status(desk, "supply", "OPER") == 0

    def test_over_voltage_trips(self, desk: Desk):
        """Above its protection the output is off at once, stays off, and says so until cleared."""
        desk.ask("supply", "VOLT:PROT 20")
        desk.power(24, 0.3)
        assert not desk.instruments.supply.output_on
        assert status(desk, "supply") == OVER_VOLTAGE
        desk.ask("supply", "OUTP ON")
        assert [entry.split(",")[0] for entry in desk.errors("supply")] == ["-221"]
        desk.ask("supply", "VOLT 12;:OUTP:PROT:CLE;:OUTP ON")
        assert (desk.instruments.supply.output_on, status(desk, "supply")) == (True, 0)

    def test_a_trip_at_a_lowered_protection(self, desk: Desk):
        """Lowering the protection below what is there trips too."""
        desk.power(24)
        desk.ask("supply", "VOLT:PROT 20")
        assert not desk.instruments.supply.output_on

    def test_an_empty_nest_draws_nothing(self):
        """Full voltage, no current."""
        desk = Desk()
        desk.power(24, 0.1)
        assert desk.rack.supply_volts(desk.now) == pytest.approx(24)
        assert desk.rack.supply_amperes(desk.now) == 0

    def test_the_discharge_resistor_draws_from_a_supply_that_is_on(self, desk: Desk):
        """5 V over 100 ohm is 50 mA more; 24 V is more than 0.2 A allow."""
        desk.power(5, 0.2)
        before = desk.rack.supply_amperes(desk.now)
        desk.close(131)
        desk.now += 1
        assert desk.rack.supply_amperes(desk.now) - before == pytest.approx(0.05, rel=0.01)
        desk.ask("supply", "VOLT 24")
        desk.now += 1
        assert desk.rack.supply_limiting(desk.now)
        assert desk.rack.supply_volts(desk.now) <= 20

    @pytest.mark.parametrize("message", ["VOLT 99", "CURR 5", "VOLT -1", "VOLT 3 A"])
    def test_what_it_cannot_do_is_refused(self, desk: Desk, message: str):
        """With an error, and nothing changes."""
        desk.ask("supply", message)
        assert len(desk.errors("supply")) == 1
        assert desk.numbers("supply", "VOLT?;CURR?") == [0, 0]


class TestLoad:
    """The electronic load."""

    def test_settings_of_several_channels(self, desk: Desk):
        """A channel list sets and reads them all."""
        desk.ask("load", "FUNC CURR,(@1:3);CURR 0.02,(@1,3);CURR:PROT 0.1,(@2);:POW:PROT 1,(@2)")
        assert desk.numbers("load", "CURR? (@1:3)") == [0.02, 0, 0.02]
        assert desk.numbers("load", "CURR:PROT? (@2);:POW:PROT? (@2)") == [0.1, 1]
        assert desk.ask("load", "FUNC? (@1:3);:INP? (@1:3)") == "CURR,CURR,CURR;0,0,0"

    def test_it_draws_what_it_is_set_to(self, desk: Desk):
        """True and read-back current within the table, and the rail gives way a little."""
        desk.power()
        unloaded = desk.rack.load_volts(1, desk.now)
        desk.ask("load", "CURR 0.04,(@1);:INP ON,(@1)")
        desk.now += 0.5
        assert desk.instruments.load.inputs_on == (1,)
        assert desk.numbers("load", "MEAS:CURR? (@1)")[0] == pytest.approx(0.04, abs=1.2e-3)
        assert unloaded - 1 < desk.numbers("load", "MEAS:VOLT? (@1)")[0] < unloaded - 0.1
        assert status(desk, "load") == 0

    def test_a_channel_that_is_off_draws_nothing(self, desk: Desk):
        """Set is not on."""
        desk.power()
        desk.ask("load", "CURR 0.04,(@1)")
        assert desk.rack.load_amperes(1, desk.now) == 0

    def test_without_voltage_it_is_unregulated(self, desk: Desk):
        """An unpowered rail gives nothing: the bit is set, the current is nothing."""
        desk.ask("load", "CURR 0.04,(@2);:INP ON,(@2)")
        assert status(desk, "load") == UNREGULATED
        assert desk.numbers("load", "MEAS:CURR? (@2)")[0] == pytest.approx(0, abs=1e-3)

    def test_at_low_voltage_it_is_a_resistance(self, desk: Desk):
        """More than the rail can give pulls it down to 50 mohm times what it gives."""
        desk.ask("load", "CURR 0.4,(@3);:INP ON,(@3)")
        desk.power(24, 0.5)
        volts, amperes = desk.rack.load_volts(3, desk.now), desk.rack.load_amperes(3, desk.now)
        assert volts == pytest.approx(0.05 * amperes, rel=1e-3)
        assert 0.02 < amperes < 0.39
        assert status(desk, "load") & UNREGULATED

    @pytest.mark.parametrize(
        ("protection", "bit"), [("CURR:PROT 0.03,(@1)", OVER_CURRENT), (":POW:PROT 0.3,(@1)", OVER_POWER)]
    )
    def test_protections_switch_the_input_off(self, desk: Desk, protection: str, bit: int):
        """40 mA at 12 V: beyond 30 mA, beyond 0.3 W; it stays off until cleared."""
        desk.power()
        desk.ask("load", f"{protection};:CURR 0.04,(@1);:INP ON,(@1)")
        assert desk.instruments.load.inputs_on == ()
        assert status(desk, "load") == bit | SHUT_DOWN
        desk.ask("load", "INP ON,(@1)")
        assert desk.errors("load")[0].startswith("-221")
        desk.ask("load", "CURR 0.01,(@1);:INP:PROT:CLE (@1);:INP ON,(@1)")
        assert (desk.instruments.load.inputs_on, status(desk, "load")) == ((1,), 0)

    def test_a_protection_acts_when_the_supply_comes_on(self, desk: Desk):
        """The load need not be spoken to for that."""
        desk.ask("load", "CURR:PROT 0.03,(@1);:CURR 0.04,(@1);:INP ON,(@1)")
        desk.power()
        assert desk.instruments.load.inputs_on == ()

    def test_reset_switches_off(self, desk: Desk):
        """All inputs, all currents."""
        desk.ask("load", "CURR 0.04,(@1:3);:INP ON,(@1:3);*RST")
        assert desk.instruments.load.inputs_on == ()
        assert desk.numbers("load", "CURR? (@1:3)") == [0, 0, 0]

    def test_a_channel_that_is_not_there_is_refused(self, desk: Desk):
        """-222, and no channel changes."""
        desk.ask("load", "CURR 0.1,(@1:4)")
        assert desk.errors("load")[0].startswith("-222")
        assert desk.numbers("load", "CURR? (@1)") == [0]


def test_a_rail_follows_the_exponential_with_the_boards_own_time_constant(desk: Desk):
    """Value at t after a load step against the closed form."""
    desk.power()
    before = desk.rack.volts("analog", desk.now)
    desk.ask("load", "CURR 0.04,(@1)")
    begin = desk.now
    desk.ask("load", "INP ON,(@1)")
    end, board = desk.rack.operating.points["analog"], desk.rack.board
    assert board is not None
    assert 0.8 * 6e-3 <= board.settle_s["analog"] <= 1.2 * 6e-3
    for passed_s in (0.001, 0.005, 0.02, 0.1):
        expected = end + (before - end) * math.exp(-passed_s / board.settle_s["analog"])
        assert desk.rack.volts("analog", begin + passed_s) == pytest.approx(expected, abs=1e-9)


def test_a_board_bleeds_when_the_supply_goes_off_and_faster_when_discharged(desk: Desk):
    """With the point's own bleed constant; the discharge resistor has the feed down in a tenth of a second."""
    desk.power()
    full, board = desk.rack.volts("feed", desk.now), desk.rack.board
    assert board is not None
    begin = desk.now
    desk.ask("supply", "OUTP OFF")
    tau_s = board.bleed_s["feed"]
    assert desk.rack.volts("feed", begin + tau_s) == pytest.approx(full / math.e)
    desk.close(131)
    assert desk.rack.volts("feed", desk.now + 0.3) < 0.02


def test_a_lower_limit_binds_also_where_a_higher_one_did_not(desk: Desk):
    """A board that was free of a limit of 0.3 A is in one of 20 mA, and free again afterwards."""
    desk.power(24, 0.3)
    free = desk.rack.supply_volts(desk.now)
    desk.ask("supply", "CURR 0.02")
    assert desk.rack.supply_volts(desk.now + 1) < free - 4
    desk.ask("supply", "CURR 0.25")
    assert desk.rack.supply_volts(desk.now + 1) == pytest.approx(free)
