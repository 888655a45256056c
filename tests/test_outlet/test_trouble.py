"""Load tests that go wrong: a host that is not proven, a source that collapses, a person who interrupts."""

from __future__ import annotations

from contextlib import suppress
from dataclasses import replace
from decimal import Decimal
from pathlib import Path

import pytest
from outlet_stands import AMBIENT_C, OutletStand, demo_outlet, outlet_stand, planned

from batchtest.capacity.answer import answer_of, answer_of_record
from batchtest.capacity.model import KneeKind
from batchtest.commands.outlet_station import plan
from batchtest.errors import BenchError, InstrumentRefused, NotProven, SafetyTrip, SetupError
from batchtest.nouns import Line, Measurement, Outcome, Phase, Reading
from batchtest.outlet.drawing import Drawing
from batchtest.outlet.fuse_tests import supplied
from batchtest.pages import write_attempt_page
from batchtest.pages.words import shown_dead

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover


def never(measurement: Measurement, reading: Reading) -> Line:
    """Enter nothing: nothing is read."""
    raise AssertionError(f"{measurement.name} was read: {reading}")


def drawn(stand: OutletStand) -> bool:
    """Whether the load was ever on."""
    return stand.running.log.was_on("load")


def test_a_host_that_is_not_proven_is_not_loaded(tmp_path: Path):
    """CB-002 gives nothing at its outlet: refused, and no input of the load was ever on."""
    with outlet_stand(tmp_path, demo_outlet(), planned("cabinet-outlet")) as stand:
        attempt, ending = stand.test("CB-002")
        assert isinstance(ending.error, NotProven)
        assert not drawn(stand)
        assert stand.outputs_on == []
    assert attempt.outcome is Outcome.REFUSED


def test_a_source_that_collapses_is_stopped_and_not_tried_again(tmp_path: Path):
    """Its own fuse opens while it is held at a current: no current above is drawn, nor is that one again."""
    with outlet_stand(tmp_path, demo_outlet(upstream=Decimal("0.06")), planned("cabinet-outlet")) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        assert stand.outputs_on == []
    bad = [line for line in attempt.lines if not line.reading.regulated]
    answer = answer_of(planned("cabinet-outlet").known, attempt.lines, AMBIENT_C)
    assert answer.knee is not None
    assert answer.knee.kind is KneeKind.COLLAPSE
    assert len(bad) == 1
    after = [line for line in attempt.lines if line.number > bad[0].number]
    assert not any(line.measurement.phase is Phase.HOT and line.measurement.load_A for line in after[1:])
    assert attempt.outcome is not Outcome.PASS
    page = write_attempt_page(tmp_path / attempt.record).read_text()
    assert "The source collapsed:" in page
    assert "was not. It was stopped there, and not tried again." in page
    assert "1 points were not held" in page or "points were not held by source or load" in page


def test_a_source_that_gives_up_in_a_pulse_is_not_pulsed_again(tmp_path: Path):
    """Its own fuse opens in the cold sweep: no further pulse, no hot sweep, no answer that promises anything."""
    with outlet_stand(tmp_path, demo_outlet(upstream=Decimal("0.02")), planned("cabinet-outlet")) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        assert stand.outputs_on == []
    bad = next(line for line in attempt.lines if not line.reading.regulated)
    later = [line for line in attempt.lines if line.number > bad.number]
    assert bad.measurement.phase is Phase.COLD
    assert not any(line.measurement.phase in (Phase.COLD, Phase.HOT) and line.reading.value and line.measurement.load_A
                   for line in later[1:])  # fmt: skip
    answer = answer_of(planned("cabinet-outlet").known, attempt.lines, AMBIENT_C)
    assert answer.fitted is None
    assert attempt.outcome is not Outcome.PASS


def test_a_proof_that_died_powers_nothing(tmp_path: Path):
    """Contact with an instrument was lost after the map: the host is not switched on again, nothing is drawn."""

    class Shaken:
        """A switch at whose last move a lead is pulled and put back."""

        ons = 0

        def on(self, serial: str) -> None:
            self.ons += 1
            stand.station.switch.on(serial)

        def off(self, serial: str) -> None:
            stand.station.switch.off(serial)
            stand.station.bench.meter.link.recoveries += 1

    with outlet_stand(tmp_path, demo_outlet(), planned("cabinet-outlet")) as stand:
        switch = Shaken()
        shaken = OutletStand(stand.running, replace(stand.station, switch=switch), tmp_path)
        attempt, ending = shaken.test()
        assert isinstance(ending.error, NotProven)
        assert switch.ons == 1
        assert not drawn(stand)
    assert attempt.outcome is Outcome.REFUSED


def test_the_supply_of_a_fuse_is_off_on_every_way_out(tmp_path: Path):
    """Whatever happens while a fuse is on it, load and supply are off before anybody else looks."""
    setup = demo_outlet("cabinet-outlet-fuse")
    with outlet_stand(tmp_path, setup, planned("cabinet-outlet-fuse")) as stand:
        bench = stand.station.bench
        bench.make_safe()
        with suppress(KeyboardInterrupt), supplied(bench, 12.0, 0.5):
            assert stand.outputs_on == ["supply"]
            raise KeyboardInterrupt
        assert stand.outputs_on == []


def test_an_interrupt_under_load_leaves_everything_off_and_shown_dead(tmp_path: Path):
    """Ctrl-C in the hot sweep: load off, host off, and the record says what is left on its pins."""

    def interrupt(line: Line) -> None:
        if line.measurement.phase is Phase.HOT and line.measurement.load_A:
            stand.watcher.on_line = lambda line: None
            raise KeyboardInterrupt

    with outlet_stand(tmp_path, demo_outlet(), planned("cabinet-outlet")) as stand:
        stand.watcher.on_line = interrupt
        attempt, ending = stand.test()
        assert isinstance(ending.error, KeyboardInterrupt)
        assert stand.outputs_on == []
    assert attempt.outcome is Outcome.STOPPED
    assert shown_dead(attempt.lines)
    assert attempt.lines[-1].measurement.name == "reference after it, after the load test"
    under_load = [line for line in attempt.lines if "after the load test" not in line.measurement.name]
    assert not shown_dead(under_load)
    answer = answer_of_record(planned("cabinet-outlet").known, attempt.lines, AMBIENT_C)
    assert (answer.sentence, answer.fitted) == ("No answer: the load test did not get to its end.", None)
    page = write_attempt_page(tmp_path / attempt.record).read_text()
    assert "Usable to" not in page


def test_an_interrupt_while_the_fuse_is_on_the_supply_leaves_it_off(tmp_path: Path):
    """Ctrl-C between trip and reset: load and supply are off."""

    def interrupt(line: Line) -> None:
        if line.measurement.phase is Phase.TRIP and line.measurement.load_A == 1.0:
            raise KeyboardInterrupt

    setup = demo_outlet("cabinet-outlet-fuse", outlet={"hold": None})
    with outlet_stand(tmp_path, setup, plan(setup, AMBIENT_C, "the caretaker")) as stand:
        stand.watcher.on_line = interrupt
        _, ending = stand.test()
        assert isinstance(ending.error, KeyboardInterrupt)
        assert stand.running.log.was_on("supply")
        assert stand.outputs_on == []


def test_a_host_that_cannot_be_switched_off_is_to_be_treated_as_live(tmp_path: Path):
    """That outweighs everything else; the load is off all the same."""

    class Stuck:
        """A switch that goes on, and off once: after the map of the host."""

        offs = 0

        def on(self, serial: str) -> None:
            stand.station.switch.on(serial)

        def off(self, serial: str) -> None:
            self.offs += 1
            if self.offs > 1:
                raise BenchError("the switch does not answer")
            stand.station.switch.off(serial)

    with outlet_stand(tmp_path, demo_outlet(), planned("cabinet-outlet")) as stand:
        broken = OutletStand(stand.running, replace(stand.station, switch=Stuck()), tmp_path)
        attempt, ending = broken.test()
        assert isinstance(ending.error, BenchError)
        assert stand.outputs_on == ["host"]
        stand.station.switch.off("CB-001")
    assert attempt.outcome is Outcome.STOPPED
    assert "treat it as live, and isolate it at its mains" in (attempt.first_cause or "")


def test_nothing_above_the_stop_is_drawn_whoever_asks(tmp_path: Path):
    """The software's own stop refuses before anything is switched on."""
    with outlet_stand(tmp_path, demo_outlet(), planned("cabinet-outlet")) as stand:
        station, template = stand.station, stand.station.procedure.template
        drawing = Drawing(station.bench, station.reader, never, 1, 0.1, template)
        with pytest.raises(SafetyTrip, match=r"110\.0 mA is above the stop of 100\.0 mA; nothing was drawn"):
            drawing.current(0.11).__enter__()
        assert not drawn(stand)


def test_a_fuse_that_does_not_hold_is_said_and_nothing_more_is_drawn(tmp_path: Path):
    """A worse fuse than its data sheet trips at its hold current: the load goes off, no trip test follows."""
    setup = demo_outlet("cabinet-outlet-fuse", hold=Decimal("0.05"), trip=Decimal("0.11"))
    with outlet_stand(tmp_path, setup, planned("cabinet-outlet-fuse", "the caretaker")) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        assert stand.outputs_on == []
        assert not stand.running.log.was_on("supply")
    assert not any(line.measurement.phase is Phase.TRIP for line in attempt.lines)
    assert attempt.outcome is not Outcome.PASS


def test_the_handler_moves_no_fuse_of_a_live_host(tmp_path: Path):
    """It refuses, and a handler that cannot move fuses says so."""
    with outlet_stand(tmp_path, demo_outlet("cabinet-outlet-fuse"), planned("cabinet-outlet-fuse")) as stand:
        handler = stand.station.bench.handler
        assert handler is not None
        handler.place("CB-001")
        handler.switch_host(on=True)
        with pytest.raises(InstrumentRefused, match="switch it off first"):
            handler.move_fuse(out=True)
        handler.switch_host(on=False)
        handler.dialect = handler.dialect.model_copy(update={"fuse_out": None, "fuse_back": None, "fuse": None})
        with pytest.raises(SetupError, match="has no fuse_out, so it cannot move a fuse; do it by hand"):
            handler.move_fuse(out=True)


def test_too_few_currents_below_the_stop_is_a_fault_of_the_file():
    """A resistor that bears nothing leaves nothing to sweep; the message says what to add."""
    setup = demo_outlet()
    assert setup.outlet.resistor is not None
    weak = setup.outlet.resistor.model_copy(update={"power": Decimal("0.05")})
    with pytest.raises(
        SetupError, match=r"below the stop of 56\.3 mA \(rating of the series resistor\); add lower ones"
    ):
        plan(demo_outlet(outlet={"resistor": weak}), AMBIENT_C, None)


def test_a_trip_test_without_a_fuse_is_a_fault_of_the_command():
    """There is nothing to trip behind a resistor."""
    with pytest.raises(SetupError, match="has no \\[fuse\\] with a \\[trip\\] to test; leave --trip out"):
        plan(demo_outlet(), AMBIENT_C, "the caretaker")
