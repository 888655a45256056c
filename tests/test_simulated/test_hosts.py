"""A live host behind its break-out plug: by serial, with mains of its own, a bad part, or pins mixed up."""

from __future__ import annotations

import pytest
from host_stands import host_setup

from batchtest.errors import NoOperatingPoint
from batchtest.files.hosts import HostSetup
from batchtest.nouns import Role
from batchtest.simulated.host_rack import HostRack
from batchtest.simulated.hosts import HostStock
from batchtest.simulated.log import BenchLog
from batchtest.simulated.serve import instruments_of
from test_simulated.desk import Desk

FEED, ACCESSORY, UNUSED, GROUND, POSITION_GROUND = 101, 134, 106, 133, 125


class HostDesk(Desk):
    """Instruments wired to a host."""

    def __init__(self, setup: HostSetup | None = None) -> None:
        self.setup = setup or host_setup(hum=0)
        self.log = BenchLog()
        self.rack = HostRack(self.setup, self.log)  # type: ignore[assignment]
        self.instruments = instruments_of(self.setup, self.rack)
        self.by_role = self.instruments.by_role()
        self.now = 1.0

    def live(self, serial: str = "CB-001") -> None:
        """The plug in a host, its mains on, and everything settled."""
        self.ask("handler", f'NEST:PLAC "{serial}";:NEST:HOST ON')
        self.now += 1.0


def desk(**hosts: str) -> HostDesk:
    """A bench where single hosts have a fault; dashes in serials are written as underscores."""
    return HostDesk(host_setup({serial.replace("_", "-"): fault for serial, fault in hosts.items()}, hum=0))


class TestHandler:
    """The handler at a host."""

    def test_it_switches_and_tells(self):
        """Off when the plug goes in; on and off as asked, with an entry each in the log."""
        bench = desk()
        assert bench.ask("handler", 'NEST:PLAC "CB-001";BOAR?;HOST?;LID?') == '"CB-001";0;1'
        assert bench.ask("handler", "NEST:HOST ON;HOST?") == "1"
        assert bench.log.was_on("host")
        assert bench.ask("handler", "NEST:HOST OFF;HOST?") == "0"
        assert [entry.text for entry in bench.log.states("host")] == ["CB-001 on", "CB-001 off"]

    def test_without_a_host_there_is_nothing_to_switch(self):
        """-221."""
        bench = desk()
        bench.ask("handler", "NEST:HOST ON")
        assert bench.errors("handler")[0].startswith("-221")

    def test_pulling_the_plug_switches_off(self):
        """And the plug is in no host."""
        bench = desk()
        bench.live()
        assert bench.ask("handler", "NEST:EJEC;BOAR?;LID?") == '"";0'
        assert [entry.text for entry in bench.log.states("host")][-1] == "CB-001 off"
        assert abs(bench.volts(FEED)[0]) < 0.02

    def test_it_has_no_cables(self):
        """There is none at a break-out."""
        bench = desk()
        bench.ask("handler", "NEST:CABL?")
        assert bench.errors("handler")[0].startswith("-113")

    def test_a_fault_that_the_circuit_cannot_have_is_a_hardware_error(self):
        """-240 with the reason."""
        bench = desk(CB_001="R99 open")
        bench.ask("handler", 'NEST:PLAC "CB-001"')
        assert "R99" in bench.errors("handler")[0]


class TestPins:
    """What the meter sees."""

    def test_off_it_is_dead_and_on_it_is_not(self):
        """About 25 V on the feed, 12 V at the outlet, nothing on the unused pin; off, they bleed away."""
        bench = desk()
        bench.ask("handler", 'NEST:PLAC "CB-001"')
        assert abs(bench.volts(FEED)[0]) < 1e-3
        bench.ask("handler", "NEST:HOST ON")
        bench.now += 1.0
        assert 21 < bench.volts(FEED)[0] < 29
        assert 11.7 < bench.volts(ACCESSORY)[0] < 12.9
        assert abs(bench.volts(UNUSED)[0]) < 1e-3
        bench.ask("handler", "NEST:HOST OFF")
        assert bench.volts(FEED)[0] > 10
        bench.now += 5.0
        assert abs(bench.volts(FEED)[0]) < 1e-3

    def test_the_discharge_resistor_has_its_channel(self):
        """It may lie beside a point, like at a nest."""
        bench = desk()
        bench.live()
        assert bench.ask("scanner", "ROUT:CLOS (@101,131);:ROUT:CLOS:STAT?") == "(@101,131)"
        assert bench.rack.discharging

    def test_swapped_pins_change_places(self):
        """Unused and outlet."""
        bench = desk(CB_002="pins 6-8 swapped")
        bench.live("CB-002")
        assert bench.volts(UNUSED)[0] > 11
        assert abs(bench.volts(ACCESSORY)[0]) < 1e-3

    def test_joined_pins_are_at_one_voltage(self):
        """And nothing else changes."""
        good, bad = desk(), desk(CB_001="pins 8-5 joined")
        good.live()
        bad.live()
        assert bad.volts(UNUSED)[0] == pytest.approx(bad.volts(GROUND)[0], abs=1e-3)
        assert bad.volts(FEED)[0] == pytest.approx(good.volts(FEED)[0], abs=1e-3)

    def test_a_bad_part_is_the_circuits_own(self):
        """With or without "host." before it: the outlet's resistor open leaves the pin to the meter's input."""
        for fault in ("RACC open", "host.RACC open"):
            bench = desk(CB_001=fault)
            bench.live()
            assert abs(bench.volts(ACCESSORY)[0]) < 0.3

    def test_the_same_serial_is_the_same_host(self):
        """Parts, mains and warmth, in another bench of the same seed too; another serial is another host."""
        one, again = (HostStock(host_setup()).host("CB-007") for _ in range(2))
        other = HostStock(host_setup()).host("CB-008")
        assert (one.values == again.values).all()
        assert one.temperature_C == again.temperature_C
        assert not (one.values == other.values).all()
        assert one.operating({}, live=True).points["feed"] != other.operating({}, live=True).points["feed"]

    def test_ohms_are_read_on_a_host_that_is_off(self):
        """The lamp's and the bleeder's way from feed to return; an open pin gives the compliance up."""
        bench = desk()
        bench.ask("handler", 'NEST:PLAC "CB-001"')
        assert 500 < bench.ohms(FEED, 10e3)[0] < 5000
        assert bench.ohms(UNUSED, 10e3)[0] == 9.9e37

    def test_a_plug_in_no_host_is_open(self):
        """Ohms and needles alike."""
        bench = desk()
        assert bench.ohms(FEED, 10e3)[0] == 9.9e37
        assert bench.ohms(201, 100)[0] == 9.9e37

    def test_a_host_without_an_operating_point_looks_dead(self, monkeypatch: pytest.MonkeyPatch):
        """Nothing on any pin, nothing that could pass; ohms give up."""

        def unsolvable(*_arguments: object, **_keys: object) -> None:
            raise NoOperatingPoint("node host.v10 does not settle")

        bench = desk()
        bench.ask("handler", 'NEST:PLAC "CB-001"')
        assert bench.rack.host is not None
        monkeypatch.setattr(bench.rack.host.system, "solve", unsolvable)
        bench.ask("handler", "NEST:HOST ON")
        assert bench.rack.operating.unsolved == "node host.v10 does not settle"
        assert abs(bench.volts(FEED)[0]) < 1e-3
        assert bench.ohms(FEED, 10e3)[0] == 9.9e37


class TestOutputs:
    """The bench's own outputs beside a host."""

    def test_the_supply_is_wired_to_nothing(self):
        """It reads its own voltage, gives no current, and the host does not see it."""
        bench = desk()
        bench.live()
        feed = bench.volts(FEED)[0]
        bench.power(5, 0.3)
        assert bench.numbers("supply", "MEAS:VOLT?;CURR?") == pytest.approx([5.0, 0.0], abs=0.02)
        assert bench.volts(FEED)[0] == pytest.approx(feed, abs=1e-3)
        bench.ask("supply", "*RST")
        assert bench.numbers("supply", "MEAS:VOLT?") == pytest.approx([0.0], abs=0.02)

    def test_a_load_channel_draws_where_the_fixture_wires_it(self):
        """100 mA through the outlet's 15 ohm cost 1.5 V (Ohm's law) and what the supply behind it gives way."""
        setup = host_setup(hum=0)
        points = dict(setup.fixture.points)
        points["accessory"] = points["accessory"].model_copy(update={"load": 1})
        object.__setattr__(setup, "fixture", setup.fixture.model_copy(update={"points": points}))
        bench = HostDesk(setup)
        bench.live()
        idle = bench.volts(ACCESSORY)[0]
        bench.ask("load", "CURR 0.1,(@1);:INP ON,(@1)")
        bench.now += 1.0
        drop = idle - bench.volts(ACCESSORY)[0]
        assert 1.5 * 0.9 < drop < 1.5 * 1.4
        assert bench.numbers("load", "MEAS:CURR? (@1)") == pytest.approx([0.1], rel=0.02)
        assert bench.log.was_on("load 1")
        bench.ask("handler", "NEST:EJEC")
        assert abs(bench.numbers("load", "MEAS:CURR? (@1)")[0]) < 1e-3


def test_every_role_is_there():
    """As at a nest: what drives a bench finds it whole."""
    assert set(desk().by_role) == set(Role)
