"""Scanner, handler, the boards that come into the nest, and the bench's log."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.errors import SetupError
from batchtest.simulated.boards import Stock, fault_of
from batchtest.simulated.log import Kind
from test_simulated.desk import Desk, changed


@pytest.fixture
def desk() -> Desk:
    """A bench with an empty nest."""
    return Desk()


class TestScanner:
    """The relay scanner."""

    def test_it_says_what_is_closed(self, desk: Desk):
        """In the order in which it was closed; opening takes it away again."""
        assert desk.ask("scanner", "ROUT:CLOS (@102,131);:ROUT:CLOS:STAT?") == "(@102,131)"
        assert desk.ask("scanner", "ROUT:CLOS? (@101,102)") == "0,1"
        assert desk.ask("scanner", "ROUT:OPEN (@102);:ROUT:CLOS:STAT?") == "(@131)"
        assert desk.ask("scanner", "*RST;:ROUT:CLOS:STAT?") == "(@)"

    def test_two_signals_at_once_are_refused(self, desk: Desk):
        """Nothing moves."""
        desk.ask("scanner", "ROUT:CLOS (@101);CLOS (@102)")
        assert desk.errors("scanner")[0].startswith("-221")
        assert desk.ask("scanner", "ROUT:CLOS:STAT?") == "(@101)"

    def test_a_channel_that_is_not_wired_is_refused(self, desk: Desk):
        """-222."""
        desk.ask("scanner", "ROUT:CLOS (@199)")
        assert desk.errors("scanner")[0].startswith("-222")

    def test_closing_takes_15_ms(self, desk: Desk):
        """The command is done when the contact is."""
        begin = desk.now
        desk.ask("scanner", "ROUT:CLOS (@101);*OPC?")
        assert desk.now - begin == pytest.approx(0.015)


class TestHandler:
    """The handler."""

    def test_it_places_and_ejects(self, desk: Desk):
        """And says what is in, and whether the lid is closed."""
        assert desk.ask("handler", "NEST:BOAR?;LID?") == '"";1'
        assert desk.ask("handler", 'NEST:PLAC "VN-0001";BOAR?;LID?') == '"VN-0001";1'
        assert desk.ask("handler", "NEST:EJEC;BOAR?;LID?") == '"";0'

    @pytest.mark.parametrize("serial", ["", "../x", "VN 1", "x" * 65])
    def test_what_is_no_serial_is_refused(self, desk: Desk, serial: str):
        """-224, and the nest stays empty."""
        desk.ask("handler", f'NEST:PLAC "{serial}"')
        assert desk.errors("handler")[0].startswith("-224")
        assert desk.rack.board is None

    def test_a_fault_that_the_circuit_cannot_have_is_a_hardware_error(self):
        """-240 with the reason, and the nest stays empty."""
        desk = Desk(changed(boards={"VN-0001": "R99 open"}))
        desk.ask("handler", 'NEST:PLAC "VN-0001"')
        assert "R99" in desk.errors("handler")[0]
        assert desk.rack.board is None

    def test_a_board_taken_out_of_a_powered_nest_is_gone(self, desk: Desk):
        """Its rails are open, the supply feeds nothing."""
        desk.place()
        desk.power()
        desk.ask("handler", "NEST:EJEC")
        assert desk.rack.supply_amperes(desk.now + 1) == 0
        assert desk.rack.volts("logic", desk.now + 1) == 0


class TestBoards:
    """The boards."""

    def test_the_same_serial_is_the_same_board(self):
        """Parts, time constants, charge and fault, in another bench of the same seed too."""
        one, other = (Stock(changed(defect_rate=1)).board("VN-0007", "vent-lead") for _ in range(2))
        assert np.array_equal(one.values, other.values)
        assert (one.fault, one.settle_s, one.charge_V) == (other.fault, other.settle_s, other.charge_V)

    def test_other_serials_and_other_seeds_are_other_boards(self):
        """No two alike."""
        boards = [
            Stock(changed(seed=seed)).board(serial, "vent-lead") for seed in (1, 2) for serial in ("VN-0001", "VN-0002")
        ]
        assert len({board.values.tobytes() for board in boards}) == 4
        assert len({board.settle_s["logic"] for board in boards}) == 4

    def test_time_constants_spread_by_a_fifth(self):
        """Between 80 and 120 % of the test point's, and using both ends."""
        stock = Stock(changed())
        shares = [stock.board(f"VN-{number}", "vent-lead").settle_s["logic"] / 8e-3 for number in range(200)]
        assert 0.8 <= min(shares) < 0.82 < 1.18 < max(shares) <= 1.2

    def test_a_serial_named_outright_has_that_fault(self):
        """An empty text is a good board, whatever the rate."""
        setup = changed(defect_rate=1, boards={"A": "", "B": "DZ12 short"})
        assert (fault_of(setup, "A"), fault_of(setup, "B")) == (None, "DZ12 short")

    def test_the_defect_rate_holds(self):
        """About 15 of 100; from the list where there is one, from all modes of all parts where there is none."""
        listed = changed(defect_rate="0.15", faults=("R5B open", "DZ12 short"))
        found = [fault_of(listed, f"VN-{number}") for number in range(2000)]
        assert 0.12 < sum(fault is not None for fault in found) / 2000 < 0.18
        assert set(found) == {None, "R5B open", "DZ12 short"}
        every = {fault_of(changed(defect_rate=1), f"VN-{number}") for number in range(500)}
        assert len(every) > 80

    def test_a_bench_without_simulation_has_no_boards(self):
        """It has real ones."""
        setup = changed()
        object.__setattr__(setup, "bench", setup.bench.model_copy(update={"simulation": None}))
        with pytest.raises(SetupError, match=r"has no \[simulation\]"):
            Stock(setup)

    def test_some_boards_bring_charge_that_bleeds(self, desk: Desk):
        """Up to 0.3 V on most that do, up to 3 V on a few, on the rails' own sign; after ten seconds it is gone."""
        charges = {}
        for number in range(200):
            desk.ask("handler", f'NEST:PLAC "VN-{number}"')
            charges[number] = {name: desk.rack.volts(name, desk.now) for name in ("feed", "logic", "bias", "id")}
            gone = [abs(desk.rack.volts(name, desk.now + 10)) for name in charges[number]]
            assert max(gone) < 1e-6
        feeds = [charge["feed"] for charge in charges.values()]
        assert 60 < sum(feed > 0 for feed in feeds) < 140
        assert 1 < sum(feed > 0.3 for feed in feeds) < 25
        assert max(feeds) <= 3
        assert all(charge["bias"] <= 0 == charge["id"] for charge in charges.values())

    def test_a_point_with_plus_and_minus_swapped_reads_the_same_but_for_its_sign(self, desk: Desk):
        """At every moment: while charge bleeds, while it is discharged, powered, and after."""
        ends = {name: (point.plus, point.minus) for name, point in desk.rack.setup.fixture.points.items()}
        pairs = [(one, other) for one in ends for other in ends if ends[one] == ends[other][::-1]]
        assert ("feed", "feed-reversed") in pairs
        seen = []
        for number in range(20):
            desk.place(f"VN-{number}", rest_s=0.1)
            for step in (
                lambda: None,
                lambda: desk.close(131),
                lambda: desk.power(24, 0.3),
                lambda: desk.ask("supply", "*RST"),
            ):
                step()
                desk.rack.apply(desk.now)
                desk.now += 0.05
                seen += [tuple(desk.rack.volts(name, desk.now) for name in pair) for pair in pairs]
            desk.ask("scanner", "ROUT:OPEN:ALL")
        assert [one for one, _ in seen] == pytest.approx([-other for _, other in seen], abs=1e-9)
        assert sum(abs(one) > 0.01 for one, _ in seen) > len(seen) / 3

    def test_a_board_without_an_operating_point_looks_dead(self, desk: Desk, monkeypatch: pytest.MonkeyPatch):
        """All its points at zero and the supply in its limit: nothing that could pass."""
        from batchtest.errors import NoOperatingPoint

        def unsolvable(*_arguments: object, **_keys: object) -> None:
            raise NoOperatingPoint("node board.v5 does not settle")

        desk.place()
        assert desk.rack.board is not None
        monkeypatch.setattr(desk.rack.board.model, "powered", unsolvable)
        monkeypatch.setattr(desk.rack.board.model, "cold_all", unsolvable)
        desk.power(24, 0.3)
        assert desk.rack.operating.unsolved == "node board.v5 does not settle"
        assert desk.rack.supply_limiting(desk.now)
        assert desk.ohms(103)[0] == 9.9e37


def test_the_log_says_who_was_on_when(desk: Desk):
    """Commands with their time, and every change of an output."""
    desk.place()
    assert not desk.log.was_on("supply")
    desk.power(24, 0.3)
    on_at = desk.now
    desk.ask("load", "CURR 0.02,(@2);:INP ON,(@2)")
    desk.ask("supply", "OUTP OFF")
    assert [entry.text for entry in desk.log.states("supply")] == ["24 V 0.3 A on", "off"]
    assert [entry.text for entry in desk.log.states("load")] == ["0.02 A on"]
    assert (desk.log.was_on("supply"), desk.log.was_on("load"), desk.log.was_on("load 1")) == (True, True, False)
    assert on_at - 1.1 < desk.log.states("supply")[0].time_s < on_at - 0.9
    assert desk.log.commands("supply") == ["VOLT 24;CURR 0.3;OUTP ON", "OUTP OFF"]
    assert len(desk.log.commands()) == 4
    assert {entry.kind for entry in desk.log} == {Kind.COMMAND, Kind.STATE}
    assert len(desk.log) == len(list(desk.log))


def test_errors_stand_in_the_log(desk: Desk):
    """So that a later look finds what an instrument refused."""
    desk.ask("meter", "FOO")
    assert desk.log.states("meter")[-1].text == "error -113 FOO"
