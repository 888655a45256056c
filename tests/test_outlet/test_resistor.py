"""The demo's outlet behind its series resistor, load-tested on the simulated bench."""

from __future__ import annotations

import pytest
from outlet_stands import OutletStand

from batchtest.capacity.answer import Answer, answer_of
from batchtest.capacity.usable import floor_V
from batchtest.nouns import Attempt, Measurand, Outcome, Phase
from batchtest.simulated.outlet.truth import OutletTruth

Tested = tuple[OutletStand, Attempt]


@pytest.fixture(scope="module")
def answer(resistor: Tested) -> Answer:
    """What the test says."""
    stand, attempt = resistor
    return answer_of(stand.station.procedure.known, attempt.lines, stand.station.ambient_C)


@pytest.fixture(scope="module")
def truth(resistor: Tested) -> OutletTruth:
    """What is true of its host."""
    found = OutletTruth.of(resistor[0].station.setup.host, "CB-001")
    assert found is not None
    return found


def test_everything_is_off_afterwards_and_shown_to_be_dead(resistor: Tested):
    """Load, supply and host are off, and the last readings are of a dead host."""
    stand, attempt = resistor
    assert stand.outputs_on == []
    last = [line for line in attempt.lines if line.measurement.phase is Phase.POWER_DOWN]
    assert all(line.judgement and line.judgement.verdict == "pass" for line in last)
    assert last[-1].measurement.name.endswith("after the load test")


def test_the_host_is_proven_before_anything_is_drawn(resistor: Tested):
    """The whole map of the live host stands in the record before the first reading under load."""
    phases = [line.measurement.phase for line in resistor[1].lines]
    first = phases.index(Phase.COLD)
    assert Phase.GATE in phases[:first]
    assert Phase.HOST in phases[:first]
    assert Phase.HOST not in phases[first:]


def test_the_stop_is_the_lowest_rating_and_stands_in_the_load_itself(resistor: Tested):
    """2 W in 15 ohm and 5 %: 0.356 A; the load's own limits are that, and the voltage times that."""
    stand, _ = resistor
    known = stand.station.procedure.known
    assert known.stop == "rating of the series resistor"
    assert known.stop_A == pytest.approx((2 / (15 * 1.05)) ** 0.5)
    load = stand.running.rack.loads[stand.station.setup.outlet.load]
    assert load.trip_A == pytest.approx(known.stop_A, abs=0.001)
    assert load.trip_W < 1.25 * known.stop_A * 15


def test_the_cold_sweep_goes_up_and_down_between_two_open_circuits(answer: Answer):
    """Each current once rising and once falling; nothing drawn before and after."""
    currents = [point.current_A for point in answer.cold]
    assert currents == [0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.25, 0.25, 0.2, 0.15, 0.1, 0.05, 0.02, 0]
    assert [point.rising for point in answer.cold] == [True] * 7 + [False] * 7


def test_the_hot_points_rest(resistor: Tested, answer: Answer):
    """At each current the last half minute moved by less than the millivolt that the file asks for."""
    assert all(point.voltage.settled for point in answer.hot)
    assert all(point.voltage.settle_s >= 30 for point in answer.hot if point.current_A)
    lines = [line for line in resistor[1].lines if line.measurement.phase is Phase.HOT]
    at_top = [line for line in lines if line.measurement.load_A == 0.25]
    began_s = at_top[-1].elapsed_s - 30
    late = [line.reading.value or 0 for line in at_top if line.elapsed_s >= began_s]
    assert max(late) - min(late) < 0.001
    assert (at_top[1].reading.value or 0) - late[-1] > 0.003


def test_the_source_resistance_is_the_true_one(answer: Answer, truth: OutletTruth):
    """The slope of the true voltages lies in the stated interval, which is a few parts in ten thousand wide."""
    fit = answer.cold_fit
    assert fit is not None
    assert fit.ohm.lower <= truth.source_ohm([0.02, 0.05, 0.1, 0.15, 0.2, 0.25]) <= fit.ohm.upper
    assert fit.ohm.upper - fit.ohm.lower < 0.002 * fit.ohm.value


def test_no_more_is_promised_than_is_true(answer: Answer, truth: OutletTruth, resistor: Tested):
    """The stated current is below the true one of the worst day, and at least 0.8 of it."""
    assert answer.fitted is not None
    usable = answer.fitted.usable
    demands = resistor[0].station.procedure.known.demands
    true_A = truth.usable_A(floor_V(demands, usable.at_C), usable.at_C)
    assert 0.8 * true_A < usable.current_A < true_A


def test_the_limits_decide_and_are_named(resistor: Tested):
    """The router needs too much voltage for a current of 100 mA to be usable: that limit decides."""
    _, attempt = resistor
    assert attempt.outcome is Outcome.FAIL
    assert (attempt.first_cause or "").startswith("usable current at 50 C")


def test_what_does_not_work_is_told_from_what_does(answer: Answer):
    """Alone each thing works; with all plugged in the router, which needs the most, does not."""
    assert answer.fitted is not None
    rows = {row.demand.name: row for row in answer.fitted.budget}
    assert all(row.hot_alone.verdict == "pass" for row in rows.values())
    together = {name: row.hot_together.verdict.value for name, row in rows.items()}
    assert together == {"display": "pass", "soil-sensors": "pass", "router": "fail"}


def test_a_fuse_in_its_place_gives_more_and_lets_more_through(answer: Answer):
    """Side by side: a resistor limits at once, a fuse passes several times more until it trips."""
    assert answer.fitted is not None
    fuse = next(each for each in answer.others if "fuse" in each.name)
    assert fuse.usable.current_A > 1.5 * answer.fitted.usable.current_A
    assert fuse.let_through.current_A > 2 * answer.fitted.let_through.current_A
    assert fuse.let_through.lasts_s < 8
    assert answer.fitted.let_through.lasts_s == float("inf")


def test_derived_values_are_lines_of_the_record(resistor: Tested):
    """Source resistance cold and hot, the usable current, and each demand hot with all plugged in."""
    derived = [line for line in resistor[1].lines if line.measurement.phase is Phase.DERIVED]
    kinds = [line.measurement.measurand for line in derived]
    assert kinds.count(Measurand.OUTPUT_RESISTANCE) == 2
    assert kinds.count(Measurand.USABLE_CURRENT) == 1
    assert kinds.count(Measurand.VOLTAGE) == 3
