"""The actions that prove what closes the circuit: interlock, id resistor, pin map."""

from __future__ import annotations

from dataclasses import replace
from decimal import Decimal

import pytest
from test_cables.bench_views import setup, suspects

from batchtest.cables import Signature
from batchtest.nouns import Measurand, Phase
from batchtest.procedure.actions import Identify, ProvePinMap
from batchtest.procedure.model import Nominal
from batchtest.procedure.pin_map import cable_actions, check_interlock
from batchtest.procedure.times import Times


def signature() -> Signature:
    """The readings that know the demo's cable."""
    return suspects().signature


def actions(found: Signature, **fixture: object) -> list[Identify | ProvePinMap]:
    """The cable's actions, with something changed in the fixture."""
    changed = replace(setup(), fixture=setup().fixture.model_copy(update=fixture))
    return list(cable_actions(Nominal.of(changed), found, Times.of(setup().bench)))


def test_the_id_resistor_comes_before_the_pin_map():
    """Each reading of the signature is measured once, in the one action or in the other."""
    identify, pin_map = actions(signature())
    assert isinstance(identify, Identify)
    assert isinstance(pin_map, ProvePinMap)
    assert [one.name for one in identify.measurements] == ["id resistor of vent-lead"]
    measured = [one.name for one in (*identify.measurements, *pin_map.measurements)]
    assert sorted(measured) == sorted(pin.name for pin in signature().readings)


def test_without_an_id_point_there_is_a_pin_map_alone():
    """With the same readings, all of them in it."""
    (only,) = actions(signature(), identify=None)
    assert isinstance(only, ProvePinMap)
    assert len(only.measurements) == len(signature().readings)


def test_a_measurement_is_what_the_signature_chose():
    """Point, range, window and expectation are the signature's, in the gate, where nothing is powered."""
    pins = {pin.name: pin for pin in signature().readings}
    for action in actions(signature()):
        for one in action.measurements:
            pin = pins[one.name]
            assert (one.point, one.range, one.unit) == (pin.reading.point, pin.reading.range, pin.reading.unit)
            assert one.limit == pin.limit
            assert one.expected == pin.expected["vent-lead"].value
            assert (one.phase, one.measurand) == (Phase.GATE, Measurand.RESISTANCE)
            assert one.settle_s > 0


def test_the_readings_that_tell_best_are_taken_again_before_power():
    """One for each other cable, as far as the pin map reads it; the id resistor is read again in any case."""
    _, pin_map = actions(signature())
    assert isinstance(pin_map, ProvePinMap)
    best = {pin.name for pin in signature().best.values()}
    assert {one.name for one in pin_map.repeated} == best - {"id resistor of vent-lead"}
    assert set(pin_map.repeated) <= set(pin_map.measurements)


def test_every_action_has_its_time():
    """More readings need more time, and each that settles adds to it."""
    identify, pin_map = actions(signature())
    assert 0 < identify.seconds < pin_map.seconds
    (alone,) = actions(signature(), identify=None)
    assert alone.seconds > pin_map.seconds > Times.of(setup().bench).of_readings(pin_map.measurements)


def test_the_interlock_is_a_resistance_between_the_bench_files_bounds():
    """On the smallest range that holds its upper bound, expected in the middle."""
    (found,) = check_interlock(setup().bench, Times.of(setup().bench))
    (one,) = found.measurements
    assert (one.name, one.point, one.measurand, one.unit) == ("interlock", "interlock", Measurand.RESISTANCE, "ohm")
    assert (one.range, one.expected) == (10_000.0, 1000.0)
    assert one.limit is not None
    assert (one.limit.lower, one.limit.upper) == (900.0, 1100.0)
    assert found.seconds > 0


def test_a_bench_without_an_interlock_has_none_to_check():
    """Nothing is asked for that is not there."""
    bench = setup().bench.model_copy(update={"interlock": None})
    assert list(check_interlock(bench, Times.of(bench))) == []


@pytest.mark.parametrize(("upper", "range_"), [(950, 1e3), (1000, 1e3), (1001, 1e4)])
def test_the_interlocks_range_follows_its_upper_bound(upper, range_):
    """Open must read over range, and closed must not."""
    bench = setup().bench
    assert bench.interlock is not None
    resistance = bench.interlock.resistance.model_copy(update={"upper": Decimal(upper)})
    changed = bench.model_copy(update={"interlock": bench.interlock.model_copy(update={"resistance": resistance})})
    (found,) = check_interlock(changed, Times.of(changed))
    assert found.measurements[0].range == range_
