"""A host's outlet over the wire: cold, hot, tripped and reset, its own fuse opened, its fuse alone on the bench."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from outlet_hosts import outlet_setup

from batchtest.errors import NoOperatingPoint, SetupError
from batchtest.files.hosts import HostSetup
from batchtest.simulated.host_rack import HostRack
from batchtest.simulated.log import BenchLog
from batchtest.simulated.outlet import OutletRack, OutletTruth
from batchtest.simulated.outlet.placed import outlet_point
from batchtest.simulated.serve import instruments_of, rack_of
from test_simulated.desk import Desk

FEED, ACCESSORY, UNUSED = 101, 134, 106
UNREGULATED = 1 << 10


class OutletDesk(Desk):
    """Instruments wired to a host's outlet."""

    def __init__(self, setup: HostSetup) -> None:
        self.setup, self.log = setup, BenchLog()
        self.rack = rack_of(setup, self.log)  # type: ignore[assignment]
        self.instruments = instruments_of(setup, self.rack)
        self.by_role = self.instruments.by_role()
        self.now = 1.0

    def live(self, serial: str = "CB-001") -> None:
        """The plug in a host, its mains on, and everything settled."""
        self.ask("handler", f'NEST:PLAC "{serial}";:NEST:HOST ON')
        self.now += 2.0

    def draw(self, amperes: float, rest_s: float = 0.0) -> None:
        """The load at the outlet, then a rest."""
        self.ask("load", f"CURR {amperes},(@1);:INP ON,(@1)")
        self.now += rest_s

    def stop(self, rest_s: float = 0.0) -> None:
        """The load off, then a rest."""
        self.ask("load", "INP OFF,(@1)")
        self.now += rest_s

    @property
    def outlet_V(self) -> float:
        """What the meter reads at the outlet."""
        return self.volts(ACCESSORY)[0]

    @property
    def drawn_A(self) -> float:
        """What the load says it draws."""
        return self.numbers("load", "MEAS:CURR? (@1)")[0]

    @property
    def unregulated(self) -> bool:
        """What the load's register says."""
        return bool(int(self.ask("load", "STAT:QUES:COND?")) & UNREGULATED)


def desk(variant: str = "fuse", **outlet: object) -> OutletDesk:
    """A host that is live."""
    bench = OutletDesk(outlet_setup(variant, **outlet))
    bench.live()
    return bench


def true(bench: OutletDesk) -> OutletTruth:
    """What is true of the host in front."""
    found = OutletTruth.of(bench.setup, "CB-001")
    assert found is not None
    return found


class TestCold:
    """Before anything has warmed."""

    @pytest.mark.parametrize("variant", ["resistor", "fuse"])
    def test_a_short_pulse_shows_the_solved_circuit(self, variant):
        """0.1 A for 50 ms: the pins stand where circuit and cold part have them, to 2 mV; the load sees less."""
        bench = desk(variant)
        bench.draw(0.1, rest_s=0.05)
        drawn_A = bench.rack.load_amperes(1, bench.now)
        assert bench.outlet_V == pytest.approx(true(bench).cold_V(drawn_A), abs=2e-3)
        volts, amperes = bench.numbers("load", "MEAS:VOLT? (@1);CURR? (@1)")
        assert bench.outlet_V - volts == pytest.approx(0.04 * drawn_A, abs=1.5e-3)
        assert amperes == pytest.approx(0.1, rel=0.02)

    def test_it_settles_with_the_pins_time_constant(self):
        """5 ms after the load goes on 1/e of its drop is to go; over 20 ms (1 - exp(-4)) / 4 of it in the mean."""
        bench = desk("resistor")
        open_V = bench.outlet_V
        bench.draw(0.2)
        since = bench.rack._now
        settled_V = bench.rack.volts("accessory", since + 0.1)
        share = (bench.rack.volts("accessory", since + 0.005) - settled_V) / (open_V - settled_V)
        assert share == pytest.approx(0.368, abs=0.005)
        mean_V = bench.rack.mean_volts("accessory", since, since + 0.02)
        assert (mean_V - settled_V) / (open_V - settled_V) == pytest.approx(0.245, abs=0.005)

    def test_other_pins_see_the_load_too(self):
        """The feed sags, and the unused pin stays at nothing."""
        bench = desk("resistor")
        idle_V = bench.volts(FEED)[0]
        bench.draw(0.2, rest_s=0.2)
        assert 0.2 < idle_V - bench.volts(FEED)[0] < 0.5
        assert bench.rack.volts("feed", bench.now) == pytest.approx(bench.volts(FEED)[0], abs=5e-3)
        assert abs(bench.volts(UNUSED)[0]) < 0.05

    def test_ohms_are_read_through_a_host_that_is_off(self):
        """The part in series is part of the way from the outlet to the return: through the lamp's and the bleeder's."""
        bench = OutletDesk(outlet_setup())
        bench.ask("handler", 'NEST:PLAC "CB-001"')
        assert 500 < bench.ohms(ACCESSORY, 10e3)[0] < 20e3

    def test_a_loaded_host_without_an_operating_point_looks_dead(self, monkeypatch: pytest.MonkeyPatch):
        """Nothing on any pin, no current, and nothing that could pass."""

        def unsolvable(*_arguments: object, **_keys: object) -> None:
            raise NoOperatingPoint("node host.v10 does not settle")

        bench = desk()
        assert isinstance(bench.rack, OutletRack)
        assert bench.rack.outlet is not None
        monkeypatch.setattr(bench.rack.outlet.source.model.system, "solve", unsolvable)
        bench.draw(0.1, rest_s=0.2)
        assert bench.rack.operating.unsolved == "node host.v10 does not settle"
        assert abs(bench.outlet_V) < 1e-3
        assert abs(bench.drawn_A) < 1e-3


class TestHot:
    """After a dwell."""

    @pytest.mark.parametrize("variant", ["resistor", "fuse"])
    def test_at_rest_it_is_as_warm_as_its_heat_balance_says(self, variant):
        """0.2 A for five minutes: the drop has moved by what the part has gained, and no more moves."""
        bench = desk(variant)
        truth = true(bench)
        bench.draw(0.2, rest_s=0.05)
        cold_V = bench.outlet_V
        bench.now += 300.0
        hot_V, hot_ohm = bench.outlet_V, truth.hot_ohm(0.2)
        assert hot_ohm is not None
        assert hot_V - cold_V == pytest.approx(-0.2 * (hot_ohm - truth.cold_ohm), abs=2e-3)
        bench.now += 60.0
        assert bench.outlet_V == pytest.approx(hot_V, abs=2e-4)


class TestTrip:
    """A fuse, above its threshold."""

    def test_it_trips_when_the_heat_balance_says(self):
        """At 0.6 A, 10 % and more above any threshold: within 1 % of the quadrature, and the load says unregulated."""
        bench = desk()
        trips_s = true(bench).trip_s(0.6)
        bench.draw(0.6)
        start_s = bench.now
        bench.now = start_s + 0.97 * trips_s
        assert bench.drawn_A == pytest.approx(0.6, rel=0.02)
        assert not bench.unregulated
        bench.now = start_s + 1.06 * trips_s
        assert bench.drawn_A < 0.3
        assert bench.unregulated
        assert bench.outlet_V < 0.1

    def test_an_input_that_stays_on_keeps_it_tripped_and_one_that_goes_off_lets_it_reset(self):
        """A constant-current load that gets nothing is no rest; off for ten minutes, the outlet is back."""
        bench = desk()
        open_V = bench.outlet_V
        bench.draw(0.6, rest_s=60.0)
        bench.draw(0.05, rest_s=300.0)
        assert bench.unregulated
        bench.stop(rest_s=600.0)
        assert bench.outlet_V == pytest.approx(open_V, abs=2e-3)
        bench.draw(0.1, rest_s=0.05)
        assert bench.drawn_A == pytest.approx(0.1, rel=0.02)
        gained = (true(bench).cold_V(0.1) - bench.outlet_V) / 0.1 / true(bench).cold_ohm
        assert 0.02 < gained < 0.25

    def test_a_load_with_an_under_voltage_stop_goes_off_by_itself(self):
        """The collapse is no jump of a setting, and still is seen when anybody next asks."""
        bench = desk()
        bench.ask("load", "VOLT:UNDER 3,(@1)")
        bench.draw(0.6, rest_s=60.0)
        assert bench.ask("load", "INP? (@1)") == "0"
        assert bench.log.states("load 1")[-1].text == "off"


class TestOwnFuse:
    """The host's own fuse."""

    def test_overloaded_it_opens_for_good(self):
        """Every pin dead, the load on or off, until the mains were off; then it is a new one."""
        bench = desk("resistor", upstream="200 mA")
        bench.draw(0.2, rest_s=5.0)
        assert bench.outlet_V > 5
        bench.draw(0.5, rest_s=10.0)
        bench.ask("load", "*OPC?")
        bench.now += 1.0
        assert abs(bench.outlet_V) < 0.01
        assert "its own fuse opened" in [entry.text for entry in bench.log.states("host")]
        bench.stop(rest_s=5.0)
        assert abs(bench.volts(FEED)[0]) < 0.01
        bench.ask("handler", "NEST:HOST OFF;HOST ON")
        bench.now += 2.0
        assert bench.outlet_V > 11

    def test_a_host_without_one_has_none_to_open(self):
        """Whatever the bench file says of it."""
        setup = outlet_setup("resistor", upstream="100 mA")
        parts = {name: part.model_copy(update={"role": ""}) for name, part in setup.circuit.parts.part.items()}
        parts["VSEC"] = setup.circuit.parts.part["VSEC"]
        circuit = replace(setup.circuit, parts=setup.circuit.parts.model_copy(update={"part": parts}))
        bench = OutletDesk(replace(setup, circuit=circuit))
        bench.live()
        bench.draw(0.3, rest_s=60.0)
        bench.ask("load", "*OPC?")
        assert bench.outlet_V > 5


class TestAlone:
    """The fuse in the holder, between the bench supply and the load."""

    def alone(self) -> OutletDesk:
        """12 V of the bench supply, 2 A limit, no load yet."""
        bench = desk()
        bench.ask("handler", "NEST:HOST OFF;FUSE ON")
        bench.ask("supply", "VOLT 12;CURR 2;OUTP ON")
        bench.now += 1.0
        return bench

    def test_supply_and_load_share_one_current(self):
        """Ohm's law: the pins are below the supply by fuse and supply leads; other pins are dead."""
        bench = self.alone()
        assert bench.outlet_V == pytest.approx(12.0, abs=0.02)
        bench.draw(0.2, rest_s=0.05)
        volts, amperes = bench.numbers("supply", "MEAS:VOLT?;CURR?")
        assert amperes == pytest.approx(bench.drawn_A, abs=3e-3)
        ohm = true(bench).cold_ohm
        assert volts - bench.outlet_V == pytest.approx(0.2 * ohm, abs=0.02)
        assert abs(bench.volts(FEED)[0]) < 1e-3

    def test_five_times_hold_trips_it_in_time(self):
        """1 A, as the data sheet has it; what is left is about its heat over 12 V."""
        bench = self.alone()
        trips_s = true(bench).trip_s(1.0)
        bench.draw(1.0)
        bench.now += 0.95 * trips_s
        assert bench.drawn_A == pytest.approx(1.0, rel=0.01)
        bench.now += 0.1 * trips_s + 5.0
        assert bench.unregulated
        body = true(bench).limiter.body
        heat_W = body.dissipation_W_K * (true(bench).limiter.law.trips_C - body.ambient_C)
        assert bench.drawn_A == pytest.approx(heat_W / 12, rel=0.1)

    def test_a_supply_in_its_limit_says_so(self):
        """0.15 A of the 0.2 A asked for: its voltage falls, and the load gets no more."""
        bench = self.alone()
        bench.ask("supply", "CURR 0.15")
        bench.draw(0.2, rest_s=0.1)
        assert int(bench.ask("supply", "STAT:OPER:COND?")) & (1 << 10)
        assert bench.drawn_A == pytest.approx(0.15, rel=0.02)
        assert bench.numbers("supply", "MEAS:VOLT?")[0] < 1.5
        assert bench.unregulated

    def test_it_is_out_of_its_host_meanwhile(self):
        """The host cannot be switched on, a live host gives no fuse, and back in it the outlet is as before."""
        bench = desk()
        before_V = bench.outlet_V
        bench.ask("handler", "NEST:FUSE ON")
        assert bench.errors("handler")[0].startswith("-221")
        bench.ask("handler", "NEST:HOST OFF;FUSE ON")
        assert bench.ask("handler", "NEST:FUSE?") == "1"
        bench.ask("handler", "NEST:HOST ON")
        assert "in the holder" in bench.errors("handler")[0]
        assert bench.ohms(ACCESSORY, 100)[0] == 9.9e37
        bench.ask("handler", "NEST:FUSE OFF;HOST ON")
        bench.now += 2.0
        assert bench.outlet_V == pytest.approx(before_V, abs=2e-3)

    def test_while_it_is_in_its_host_the_supply_is_wired_to_nothing(self):
        """It reads its own voltage and no current, and the outlet does not see it; nor does another load channel."""
        bench = desk()
        open_V = bench.outlet_V
        bench.ask("supply", "VOLT 5;CURR 1;OUTP ON")
        bench.ask("load", "CURR 0.1,(@2);:INP ON,(@2)")
        bench.now += 1.0
        assert bench.numbers("supply", "MEAS:VOLT?;CURR?") == pytest.approx([5.0, 0.0], abs=0.02)
        assert bench.numbers("load", "MEAS:VOLT? (@2);CURR? (@2)") == pytest.approx([0.0, 0.0], abs=2e-3)
        assert bench.outlet_V == pytest.approx(open_V, abs=1e-3)

    def test_pulling_the_plug_puts_it_back(self):
        """Nothing is left in the holder, and there is nothing to take out of no host."""
        bench = self.alone()
        bench.ask("handler", "NEST:EJEC;FUSE?;FUSE ON")
        assert bench.ask("handler", "NEST:FUSE?") == "0"
        assert "nothing to take out" in bench.errors("handler")[0]


@pytest.fixture(scope="module")
def resistor() -> OutletTruth:
    """What is true behind the series resistor."""
    found = OutletTruth.of(outlet_setup("resistor"), "CB-001")
    assert found is not None
    return found


@pytest.fixture(scope="module")
def fuse() -> OutletTruth:
    """What is true behind the fuse."""
    found = OutletTruth.of(outlet_setup("fuse"), "CB-001")
    assert found is not None
    return found


class TestTruth:
    """What is true of an outlet on the worst day."""

    def test_it_is_usable_down_to_the_voltage_that_is_needed(self, resistor: OutletTruth):
        """At the usable current just that is left, a little above it less."""
        usable_A = resistor.usable_A(9.0, 50.0)
        assert resistor.worst_V(usable_A, 50.0) == pytest.approx(9.0, abs=1e-3)
        assert (resistor.worst_V(1.01 * usable_A, 50.0) or 0) < 9.0
        assert resistor.usable_A(20.0, 50.0) == pytest.approx(0.0, abs=1e-6)

    def test_the_worst_day_is_worse_than_today(self, resistor: OutletTruth):
        """Hot, and at low mains: less voltage than cold today, by less than the zener lets through (0.1 V) and heat."""
        today_V, worst_V = resistor.cold_V(0.1), resistor.worst_V(0.1, 23.0)
        assert worst_V is not None
        assert 0 < today_V - worst_V < 0.2

    def test_a_fuse_is_usable_up_to_its_threshold(self, fuse: OutletTruth):
        """Where no voltage is asked for; which is less when it is hot."""
        assert fuse.usable_A(0.0, 50.0) == pytest.approx(fuse.threshold_A(50.0), rel=1e-3)
        assert fuse.threshold_A(50.0) < fuse.threshold_A(0.0)
        assert fuse.worst_V(1.05 * fuse.threshold_A(50.0), 50.0) is None

    def test_more_than_the_host_gives_is_not_usable(self, resistor: OutletTruth):
        """12 V over 15 ohm are 0.8 A at the very most."""
        assert resistor.worst_V(0.9, 23.0) is None

    def test_a_resistor_that_runs_away_has_no_rest(self, resistor: OutletTruth):
        """Ten amperes through it are 1.5 kW."""
        assert resistor.hot_ohm(10.0) is None

    def test_the_slope_is_that_of_the_true_voltages(self, resistor: OutletTruth):
        """Of two currents it is the difference of voltages over that of currents, and no less than the resistor."""
        ohm = resistor.source_ohm((0.05, 0.25))
        assert ohm == pytest.approx((resistor.cold_V(0.05) - resistor.cold_V(0.25)) / 0.2)
        assert resistor.cold_ohm < ohm < resistor.cold_ohm + 2


class TestSetup:
    """What makes a bench one of outlets."""

    def test_without_a_load_or_without_a_word_of_the_outlet_it_is_a_plain_host(self):
        """As `batchtest host` has it."""
        setup = outlet_setup()
        simulation = setup.bench.simulation
        assert simulation is not None
        bench = setup.bench.model_copy(update={"simulation": simulation.model_copy(update={"outlet": None})})
        plain = HostSetup(setup.root, "a", "b", setup.fixture, bench, setup.circuit, {})
        assert isinstance(rack_of(setup, BenchLog()), OutletRack)
        assert type(rack_of(plain, BenchLog())) is HostRack

    def test_a_plug_without_a_load_has_no_outlet(self):
        """Said with what to write."""
        setup = outlet_setup()
        points = {name: each.model_copy(update={"load": None}) for name, each in setup.fixture.points.items()}
        with pytest.raises(SetupError, match="write load = 1 at the outlet's point"):
            outlet_point(replace(setup, fixture=setup.fixture.model_copy(update={"points": points})))

    def test_what_is_fitted_must_be_said(self):
        """A part and a variant."""
        with pytest.raises(SetupError, match="no part or no variant"):
            rack_of(outlet_setup(variant=None), BenchLog())  # type: ignore[arg-type]

    def test_a_host_whose_part_has_failed_is_as_its_circuit_is(self):
        """Open: the outlet gives nothing, and there is no truth about its resistance."""
        setup = outlet_setup("resistor")
        simulation = setup.bench.simulation
        assert simulation is not None
        failed = simulation.model_copy(update={"hosts": {"CB-001": "RACC open"}})
        setup = HostSetup(
            setup.root,
            "a",
            "b",
            setup.fixture,
            setup.bench.model_copy(update={"simulation": failed}),
            setup.circuit,
            {},
        )
        bench = OutletDesk(setup)
        bench.live()
        bench.draw(0.1, rest_s=0.1)
        assert abs(bench.outlet_V) < 0.3
        assert bench.unregulated
        assert OutletTruth.of(setup, "CB-001") is None


@pytest.mark.parametrize("ohm", [0.5, 2.0, 7.3, 33.0, 480.0, 12345.0])
def test_what_a_starved_load_gets_is_what_the_circuit_gives(fuse: OutletTruth, ohm: float):
    """Between the resistances that were solved the current is interpolated: to 0.5 % of a solution of its own."""
    source = fuse.placed.source
    solution = source.model.loaded(
        source.values, ohm, np.inf, load_ohm=source.load_ohm, temperature_C=source.temperature_C
    )
    assert source.most_A(ohm) == pytest.approx(float(source.model.amperes(solution)[0]), rel=5e-3)
