"""The cable in the fixture: which the handler believes is fitted, which truly is, and what that does to readings."""

from __future__ import annotations

import gc
import weakref
from dataclasses import replace
from functools import cache

import pytest
from stations import derive_once

from batchtest.circuits import BenchModel, draw_values, join
from batchtest.errors import SetupError
from batchtest.files.cable import Wire
from batchtest.files.library import Setup, load_setup
from batchtest.procedure.actions import Procedure
from batchtest.simulated import truth
from batchtest.simulated.boards import GOLDEN, Stock, fault_of
from test_simulated.desk import ROOT, Desk, changed

SERIAL = "VN-0001"
CABLES = ["vent-lead", "mist-lead", "long-lead"]


@pytest.fixture
def desk() -> Desk:
    """A bench with an empty nest."""
    return Desk()


@cache
def procedure() -> Procedure:
    """The demo's procedure."""
    return derive_once(changed())


def joined_by(setup: Setup, cable: str) -> BenchModel:
    """Nest, cable and board by the circuits' own means, without the simulated bench."""
    assembly = join(setup.fixture_circuit, setup.cables[cable], setup.board_circuit)
    return BenchModel.of(assembly, setup.fixture)


def powered_by(setup: Setup, cable: str) -> dict[str, float]:
    """Voltage of every point at 24 V and no load by a cable, V."""
    model = joined_by(setup, cable)
    solution = model.powered(draw_values(model.assembly, [SERIAL], seed=2026), 24.0, 0.5, {})
    return {name: float(solution.between(*ends)[0]) for name, ends in model.points.items()}


def cold_by(setup: Setup, cable: str, point: str) -> float:
    """Resistance that 1 mA finds at a point by a cable, ohm; the compliance of 10 V is 10 kohm."""
    model = joined_by(setup, cable)
    solution = model.cold(draw_values(model.assembly, [SERIAL], seed=2026), point, 1e-3, 10.0)
    return float(solution.between(*model.points[point])[0]) / 1e-3


class TestHandler:
    """Cables by command."""

    def test_it_fits_the_cable_asked_for(self, desk: Desk):
        """The fixture's own at the start, then any of the library."""
        assert desk.ask("handler", "NEST:CABL?") == '"vent-lead"'
        assert desk.ask("handler", 'NEST:CABL "long-lead";CABL?') == '"long-lead"'
        assert (desk.rack.cable_asked, desk.rack.cable_fitted) == ("long-lead", "long-lead")
        assert desk.errors("handler") == []

    def test_a_cable_that_is_not_in_the_library_is_refused(self, desk: Desk):
        """-224 with the nearest name, and the one before stays."""
        desk.ask("handler", 'NEST:CABL "mist-led"')
        error = desk.errors("handler")[0]
        assert error.startswith("-224")
        assert "did you mean 'mist-lead'?" in error
        assert desk.ask("handler", "NEST:CABL?") == '"vent-lead"'

    def test_a_cable_that_does_not_fit_is_a_hardware_error(self):
        """-240 with the pin that is not there, and the one before stays; with a board in the nest and without."""
        setup = changed()
        bad = setup.cables["mist-lead"].model_copy(update={"wires": (Wire(board=1, host=9, colour="WH"),)})
        desk = Desk(replace(setup, cables={**setup.cables, "bad": bad}))
        for _ in range(2):
            desk.ask("handler", 'NEST:CABL "bad"')
            error = desk.errors("handler")[0]
            assert error.startswith("-240")
            assert "pin 9" in error
            assert (desk.rack.cable_asked, desk.rack.cable_fitted) == ("vent-lead", "vent-lead")
            desk.place()

    def test_the_rack_takes_only_cables_of_the_library(self, desk: Desk):
        """Whoever asks it past the handler gets the nearest name."""
        with pytest.raises(SetupError, match="no cable 'vent-led'; did you mean 'vent-lead'"):
            desk.rack.fit_cable("vent-led", desk.now)
        assert desk.rack.cable_asked == "vent-lead"

    def test_the_bench_file_may_say_what_truly_lies_in_the_drawer(self):
        """The handler believes its label; other cables come true, and asking again does not help."""
        desk = Desk(changed(cable="mist-lead"))
        assert desk.ask("handler", "NEST:CABL?") == '"vent-lead"'
        assert desk.rack.cable_fitted == "mist-lead"
        desk.ask("handler", 'NEST:CABL "long-lead"')
        assert desk.rack.cable_fitted == "long-lead"
        assert desk.ask("handler", 'NEST:CABL "vent-lead";CABL?') == '"vent-lead"'
        assert desk.rack.cable_fitted == "mist-lead"

    def test_the_log_tells_which_cable_was_fitted_when(self):
        """What was true, from the start on, with its time."""
        desk = Desk(changed(cable="mist-lead"))
        asked_at = desk.now
        desk.ask("handler", 'NEST:CABL "long-lead"')
        desk.ask("handler", 'NEST:CABL "vent-lead"')
        found = desk.log.states("cable")
        assert [entry.text for entry in found] == ["mist-lead", "long-lead", "mist-lead"]
        assert [entry.time_s for entry in found] == pytest.approx([0.0, asked_at + 0.5, asked_at + 1.0])


class TestReadings:
    """What another cable does to readings."""

    def test_the_shipped_wrong_bench_is_the_demo_but_for_its_cable(self):
        """The same instruments and interlock, mist-lead truly fitted, and no challenge asked for."""
        right, wrong = (load_setup(ROOT, "vent-nest", name).bench for name in ("simulated", "simulated-wrong-cable"))
        same = {"like": None, "challenge_every": right.challenge_every, "simulation": right.simulation}
        assert wrong.model_copy(update=same) == right
        assert wrong.challenge_every is None
        assert wrong.simulation is not None
        assert right.simulation is not None
        assert (right.simulation.cable, wrong.simulation.cable) == (None, "mist-lead")
        assert wrong.simulation.seed == right.simulation.seed

    @pytest.mark.parametrize("cable", CABLES)
    def test_cold_readings_are_those_of_the_cable_truly_fitted(self, cable: str):
        """The free host pin is open by two cables, and signal ground by the third; the id resistor tells all three."""
        desk = Desk(changed(cable=None if cable == "vent-lead" else cable))
        desk.place(SERIAL)
        for point in ("id", "spare"):
            expected = cold_by(desk.rack.setup, cable, point)
            shown = desk.ohms(desk.rack.setup.fixture.points[point].scanner, 10_000 if point == "id" else 1000)[0]
            assert shown == (9.9e37 if expected > 9_999 else pytest.approx(expected, rel=0.002, abs=0.05))

    @pytest.mark.parametrize("cable", CABLES)
    def test_powered_readings_are_those_of_the_cable_truly_fitted(self, cable: str):
        """Every point, and by another cable than the fixture's some of them differ."""
        desk = Desk(changed(cable=None if cable == "vent-lead" else cable))
        desk.place(SERIAL)
        desk.power(24, 0.5, rest_s=2.0)
        expected = powered_by(desk.rack.setup, cable)
        assert {point: desk.rack.volts(point, desk.now) for point in expected} == pytest.approx(expected, abs=1e-6)
        right = powered_by(desk.rack.setup, "vent-lead")
        moved_V = max(abs(expected[point] - right[point]) for point in right)
        assert (moved_V > 0.002) == (cable != "vent-lead")

    def test_the_board_is_the_same_by_every_cable(self):
        """Only the way to it differs: its parts, its fault and its charge are its own."""
        stock = Stock(changed(defect_rate=1))
        vent, mist = (stock.board("VN-0007", cable) for cable in ("vent-lead", "mist-lead"))
        own = [part.startswith("board.") for part in stock.joined("vent-lead").good.parameters.parts]
        assert own == [part.startswith("board.") for part in stock.joined("mist-lead").good.parameters.parts]
        assert vent.values[:, own].tolist() == mist.values[:, own].tolist()
        assert (vent.fault, vent.charge_V) == (mist.fault, mist.charge_V)
        assert vent.model is not mist.model

    def test_a_cable_changed_under_power_is_solved_anew(self, desk: Desk):
        """That is the accident: the supply stays on, and the voltages go where the other circuit has them."""
        desk.place(SERIAL)
        desk.power(24, 0.5)
        desk.ask("handler", 'NEST:CABL "mist-lead"')
        desk.now += 2.0
        assert desk.rack.supply.on
        expected = powered_by(desk.rack.setup, "mist-lead")
        assert {point: desk.rack.volts(point, desk.now) for point in expected} == pytest.approx(expected, abs=1e-6)

    def test_without_a_board_the_next_one_comes_by_the_new_cable(self, desk: Desk):
        """The cable stays fitted while boards come and go."""
        desk.ask("handler", 'NEST:CABL "mist-lead"')
        desk.place(SERIAL)
        assert desk.ohms(desk.rack.setup.fixture.points["spare"].scanner)[0] < 100
        desk.ask("handler", f'NEST:EJEC;PLAC "{SERIAL}"')
        assert desk.ohms(desk.rack.setup.fixture.points["spare"].scanner)[0] < 100


class TestFaults:
    """Faults of the host's side, and the board that never has one."""

    def test_the_host_side_may_have_a_fault(self):
        """It comes with one serial and by every cable, the board of the next is as it was, and the truth knows."""
        setup = changed(boards={"VN-0002": "host.DS1 open"})
        desk = Desk(setup)
        rails = {}
        for serial, cable in (("VN-0002", "vent-lead"), ("VN-0002", "mist-lead"), ("VN-0003", "vent-lead")):
            desk.ask("handler", f'NEST:CABL "{cable}"')
            desk.place(serial)
            desk.power(12, 0.5)
            rails[serial, cable] = desk.rack.volts("logic", desk.now)
            desk.ask("supply", "OUTP OFF")
        assert desk.errors("handler") == []
        assert rails["VN-0002", "vent-lead"] == pytest.approx(rails["VN-0002", "mist-lead"], abs=0.1)
        assert rails["VN-0002", "vent-lead"] < 0.5 * rails["VN-0003", "vent-lead"]
        assert [board.must for board in truth(setup, procedure(), ["VN-0002", "VN-0003"])] == ["not-pass", "pass"]

    def test_the_golden_board_never_has_a_fault(self):
        """Whatever the seed, the rate and the list say."""
        for seed in range(100):
            assert fault_of(changed(seed=seed, defect_rate=1, boards={GOLDEN: "R5B open"}), GOLDEN) is None

    @pytest.mark.parametrize("seed", [1, 2, 3, 2026])
    def test_the_golden_board_must_pass(self, seed: int):
        """Its drawn parts are inside their tolerances, as those of any good board."""
        assert truth(changed(seed=seed, defect_rate=1), procedure(), [GOLDEN])[0].must == "pass"

    def test_only_the_last_few_circuits_are_kept(self):
        """A long batch of faulty boards does not fill the memory, and a board in the nest stays whole."""
        desk = Desk(changed(defect_rate=1))
        desk.place("VN-0")
        assert desk.rack.board is not None
        first = weakref.ref(desk.rack.board.model)
        for number in range(1, 41):
            desk.rack.place(f"VN-{number}", desk.now)
        gc.collect()
        assert first() is None
        desk.power(5, 0.5)
        assert desk.rack.operating.unsolved == ""


class TestInterlock:
    """The loop through lid and covers."""

    @pytest.fixture
    def channel(self, desk: Desk) -> int:
        """Its scanner channel."""
        interlock = desk.rack.setup.bench.interlock
        assert interlock is not None
        return interlock.scanner

    def test_it_follows_the_lid(self, desk: Desk, channel: int):
        """1 kohm with the lid closed, over range with the lid open, whether a board lies in the nest or not."""
        assert desk.ohms(channel, 10_000)[0] == pytest.approx(1000, rel=1e-3)
        desk.place()
        assert desk.ohms(channel, 10_000)[0] == pytest.approx(1000, rel=1e-3)
        desk.ask("handler", "NEST:EJEC")
        assert desk.ohms(channel, 10_000)[0] == 9.9e37
        desk.place()
        assert desk.ohms(channel, 10_000)[0] == pytest.approx(1000, rel=1e-3)

    @pytest.mark.parametrize(("ohms", "shown"), [(0.2, 0.2), (None, 9.9e37)], ids=["bridged", "open"])
    def test_what_a_test_sets_outlasts_the_lid(self, desk: Desk, channel: int, ohms: float | None, shown: float):
        """A bridge or a broken wire does not go away when the lid closes."""
        desk.rack.interlock_ohms = ohms
        desk.ask("handler", "NEST:EJEC")
        desk.place()
        assert desk.rack.interlock_ohms == ohms
        assert desk.ohms(channel, 10_000)[0] == pytest.approx(shown, abs=0.5)

    def test_it_carries_no_voltage(self, desk: Desk, channel: int):
        """A loop of wire and a resistor, apart from the board's power."""
        desk.place()
        desk.power()
        assert desk.volts(channel)[0] == pytest.approx(0, abs=2e-3)

    def test_a_bench_without_one_has_no_such_channel(self, channel: int):
        """The scanner refuses it: -222."""
        setup = changed()
        desk = Desk(replace(setup, bench=setup.bench.model_copy(update={"interlock": None})))
        desk.ask("scanner", f"ROUT:CLOS (@{channel})")
        assert desk.errors("scanner")[0].startswith("-222")
