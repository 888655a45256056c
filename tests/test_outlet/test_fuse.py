"""The demo's outlet behind a resettable fuse: held, refused a trip in its host, tripped alone on the bench supply."""

from __future__ import annotations

from decimal import Decimal
from pathlib import Path

import pytest
from outlet_stands import AMBIENT_C, OutletStand, demo_outlet, outlet_stand, planned

from batchtest.capacity.answer import answer_of
from batchtest.commands.outlet_station import plan
from batchtest.nouns import Attempt, Line, Measurand, Outcome, Phase
from batchtest.simulated.outlet.truth import OutletTruth

#: Whole attempts; their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

Tested = tuple[OutletStand, Attempt]


def of_phase(attempt: Attempt, phase: Phase, measurand: Measurand = Measurand.VOLTAGE) -> list[Line]:
    """The lines of one phase and kind."""
    return [
        line for line in attempt.lines if line.measurement.phase is phase and line.measurement.measurand is measurand
    ]


@pytest.fixture(scope="module")
def truth(fuse: Tested) -> OutletTruth:
    """What is true of the fuse and its host."""
    found = OutletTruth.of(fuse[0].station.setup.host, "CB-001")
    assert found is not None
    return found


def test_the_fuse_holds_its_derated_current(fuse: Tested):
    """0.2 A at 20 C are 0.195 A at 23 C; the stop is that, so 2 % less are held, for ten minutes."""
    held = [line for line in of_phase(fuse[1], Phase.HOLD) if (line.measurement.load_A or 0) > 0.15]
    assert held[0].measurement.load_A == pytest.approx(0.98 * 0.2 * (1 - 0.17 * 3 / 20))
    assert held[-1].reading.settle_s == pytest.approx(600, abs=1)
    assert all(line.reading.regulated for line in held)


def test_the_trip_is_refused_in_a_host_that_it_would_hurt(fuse: Tested):
    """Five times hold, with the fuse at its lowest resistance, takes parts of the cabinet past their ratings."""
    trip = fuse[0].station.procedure.known.trip
    assert trip is not None
    assert trip.alone
    assert [part.split()[0] for part in trip.overloads] == ["RQC", "D4", "D1", "Q1"]


def test_the_host_is_off_while_the_fuse_is_tripped_on_the_bench_supply(fuse: Tested):
    """The supply goes on once, after the host was switched off for good, and the fuse goes back into the host."""
    log = fuse[0].running.log
    off = [entry.time_s for entry in log.states("host") if entry.text == "CB-001 off"]
    on = [entry.time_s for entry in log.states("supply") if entry.text.endswith(" on")]
    assert len(on) == 1
    assert off[-1] < on[0]
    assert fuse[0].outputs_on == []
    assert not fuse[0].running.rack.alone


def test_the_time_to_trip_is_the_true_one(fuse: Tested, truth: OutletTruth):
    """Within a tenth of what the heat balance says, and judged by its limit."""
    (line,) = of_phase(fuse[1], Phase.TRIP, Measurand.TIME_TO_TRIP)
    assert line.reading.value == pytest.approx(truth.trip_s(1.0, AMBIENT_C), rel=0.1)
    assert line.measurement.unit == "s"
    assert line.judgement is not None
    assert line.judgement.verdict == "pass"


def test_the_current_at_which_it_trips_lies_in_the_stated_interval(fuse: Tested, truth: OutletTruth):
    """From its heat warm and tripped, without creeping up on it."""
    stand, attempt = fuse
    band = answer_of(stand.station.procedure.known, attempt.lines, AMBIENT_C).threshold_A
    assert band is not None
    assert band.lower <= truth.threshold_A(AMBIENT_C) <= band.upper


def test_a_tripped_fuse_lets_little_through_and_is_reset_with_the_load_off(fuse: Tested):
    """A CC load collapses and keeps it tripped; a minute after the load went off a pulse is held again."""
    (drawn,) = of_phase(fuse[1], Phase.TRIP, Measurand.LOAD_CURRENT)
    assert 0 < (drawn.reading.value or 0) < 0.1
    after = [line for line in of_phase(fuse[1], Phase.TRIP) if "s after" in line.measurement.name]
    assert all(line.reading.regulated for line in after)


def test_time_since_the_trip_stands_beside_every_resistance(fuse: Tested):
    """One minute, then every doubling, to the end that the file asks for."""
    pulses = [
        line for line in of_phase(fuse[1], Phase.TRIP) if "s after" in line.measurement.name and line.measurement.load_A
    ]
    since = [line.reading.settle_s for line in pulses]
    assert since == pytest.approx([60, 120, 240, 480, 600], abs=1)


def test_a_fuse_that_tripped_has_more_resistance_than_before(fuse: Tested):
    """R1 is higher than R, and falls back slowly."""
    ohms = [line.reading.value for line in of_phase(fuse[1], Phase.DERIVED, Measurand.OUTPUT_RESISTANCE)]
    before = [line for line in of_phase(fuse[1], Phase.TRIP) if line.measurement.name.startswith("trip, before")]
    unloaded, loaded = (line.reading.value or 0 for line in before)
    before_ohm = (unloaded - loaded) / (before[1].measurement.load_A or 1)
    assert (ohms[2] or 0) > 1.03 * before_ohm


def test_it_passes_its_limits(fuse: Tested):
    """Usable to more than 100 mA at 50 C, trips in time, all that was judged passes."""
    assert fuse[1].outcome is Outcome.PASS


def test_where_the_host_bears_it_the_fuse_is_tripped_in_the_host(tmp_path: Path):
    """At three times hold no part of the cabinet is past its rating: no supply is switched on."""
    setup = demo_outlet("cabinet-outlet-fuse")
    assert setup.outlet.trip is not None
    trip = setup.outlet.trip.model_copy(update={"multiple": Decimal(3), "after": Decimal(120)})
    setup = demo_outlet("cabinet-outlet-fuse", outlet={"trip": trip, "hold": None})
    procedure = plan(setup, AMBIENT_C, "the caretaker")
    with outlet_stand(tmp_path, setup, procedure) as stand:
        attempt, ending = stand.test()
        assert ending.error is None
        assert not stand.running.log.was_on("supply")
        assert stand.outputs_on == []
    (tripped,) = of_phase(attempt, Phase.TRIP, Measurand.TIME_TO_TRIP)
    assert 5 < (tripped.reading.value or 0) < 60


def test_a_fuse_that_does_not_trip_fails_and_everything_is_off(tmp_path: Path):
    """It is given its time, and no more; the load goes off, the host is shown to be dead."""
    setup = demo_outlet("cabinet-outlet-fuse")
    assert setup.outlet.trip is not None
    trip = setup.outlet.trip.model_copy(update={"longest": Decimal("0.5")})
    setup = demo_outlet("cabinet-outlet-fuse", outlet={"trip": trip, "hold": None})
    with outlet_stand(tmp_path, setup, plan(setup, AMBIENT_C, "the caretaker")) as stand:
        attempt, _ = stand.test()
        assert stand.outputs_on == []
    assert attempt.outcome is Outcome.FAIL
    assert "did not trip within" in (attempt.first_cause or "")


def test_without_permission_nothing_is_tripped():
    """The procedure of a fuse without a trip test has none."""
    procedure = planned("cabinet-outlet-fuse")
    assert procedure.known.trip is None
    assert not any("trip" in action.title for action in procedure.actions)
