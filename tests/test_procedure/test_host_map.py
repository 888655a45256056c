"""The derived map of a live host: dead before and after, windows from its circuit alone, swapped pins told."""

from __future__ import annotations

from itertools import combinations

import numpy as np
import pytest
from host_stands import host_procedure, host_setup

from batchtest.circuits import alone, draw_values
from batchtest.nouns import Measurand, Phase
from batchtest.procedure.actions import (
    CheckInterlock,
    Discharge,
    MakeSafe,
    ProveContact,
    ReadReference,
    ReadResidual,
)
from batchtest.procedure.host_map import ReadPins, SwitchOff, SwitchOn
from batchtest.procedure.host_model import METER_OHM, HostModel, at_mains

#: Low side of coil A, the feed, low side of coil B: a relay coil carries no current into an open pin.
ONE_VOLTAGE = [(1, 2), (1, 3), (2, 3)]


def test_the_host_goes_on_only_between_two_proofs_that_it_is_dead():
    """Safest first, as in the gate: then on, every pin, the known voltage again, off, dead, and needles that touch."""
    assert [type(action) for action in host_procedure().actions] == [
        MakeSafe,
        CheckInterlock,
        ReadReference,
        ReadResidual,
        Discharge,
        ProveContact,
        ReadResidual,
        ReadReference,
        CheckInterlock,
        SwitchOn,
        ReadPins,
        ReadReference,
        SwitchOff,
        ProveContact,
    ]


def test_every_pin_is_read_as_a_voltage_on_one_range():
    """Each pin but the return against the return, polarity included; no ohms and no current while it is live."""
    pins = host_procedure().pins
    assert {plus for plus, minus in host_procedure().windows.points.values() if minus == 7} == {1, 2, 3, 4, 5, 6, 8}
    assert {(one.measurand, one.phase, one.range) for one in pins} == {(Measurand.VOLTAGE, Phase.HOST, 100.0)}


def test_names_are_unique_but_for_the_interlock():
    """A measurement's name is its key in records; the interlock is read again before the host goes on."""
    names = [each.name for action in host_procedure().actions for each in action.measurements]
    assert sorted(set(names)) == sorted([name for name in names if name != "interlock"] + ["interlock"])


def test_the_unused_pin_must_read_nothing():
    """Pin 8 has nothing on it, so that its window is that of an earned zero."""
    assert host_procedure().windows.unused == (8,)
    limit = host_procedure().windows.limits["unused"]
    assert (limit.lower, limit.upper) == (-0.05, 0.05)


def test_the_windows_are_what_the_trade_expects():
    """Common practice, no source: three silicon diodes drop about 2 V; a follower sits one drop under its 12.8 V zener;
    26.6 V peak less two bridge diodes is about 25 V, and goes up and down with the mains."""
    windows = host_procedure().windows
    expected = {name: windows.window(pair).nominal for name, pair in windows.points.items()}
    assert expected["ground"] == pytest.approx(3 * 0.7, abs=0.2)
    assert expected["accessory"] == pytest.approx(12.8 - 0.7, abs=0.3)
    assert expected["feed"] == pytest.approx(26.6 - 2 * 0.8, abs=0.3)
    feed = windows.limits["feed"]
    assert feed.lower == pytest.approx(0.86 * expected["feed"], rel=0.02)
    assert feed.upper == pytest.approx(1.15 * expected["feed"], rel=0.02)


def test_healthy_hosts_lie_inside_the_windows():
    """Of 300 other hosts, anywhere within mains and warmth, none reads outside: a good host is not refused."""
    setup, windows = host_setup(), host_procedure().windows
    model, random = HostModel.of(setup.circuit), np.random.default_rng(7)
    values = np.concatenate([draw_values(model.assembly, ["host"], seed=1000 + number) for number in range(300)])
    fed = at_mains(model.assembly, setup.circuit, values, random.uniform(0.9, 1.1, 300))
    read = model.volts(fed, list(windows.points.values()), random.uniform(18.0, 28.0, 300))
    for volts, (name, limit) in zip(read, windows.limits.items(), strict=True):
        assert limit.lower is not None
        assert limit.upper is not None
        assert limit.lower < volts.min() <= volts.max() < limit.upper, name


def test_only_pins_at_one_voltage_cannot_be_told():
    """Coils carry no current into an open pin, so that feed and both drive lines read alike; all other swaps show."""
    assert host_procedure().windows.alike() == ONE_VOLTAGE


@pytest.mark.parametrize("pair", [pair for pair in combinations(range(1, 9), 2) if pair not in ONE_VOLTAGE])
def test_a_swap_is_named_from_its_readings(pair: tuple[int, int]):
    """Readings of a nominal host with two pins swapped are explained by that swap, and by no other that can be told."""
    windows = host_procedure().windows
    readings = {name: window.nominal for name, window in windows.swapped(pair).items()}
    found = windows.explained(readings)
    assert pair in found
    assert all(_same_but_for_coils(pair, other) for other in found)


def _same_but_for_coils(one: tuple[int, int], other: tuple[int, int]) -> bool:
    """Whether two swaps differ only in which of the pins at one voltage they take."""
    return {0 if pin in (1, 2, 3) else pin for pin in one} == {0 if pin in (1, 2, 3) else pin for pin in other}


def test_readings_of_a_right_host_are_no_swap_that_can_be_told():
    """Nothing is blamed on a plug that is right."""
    windows = host_procedure().windows
    readings = {name: windows.window(pair).nominal for name, pair in windows.points.items()}
    assert windows.explained(readings) == ONE_VOLTAGE


def test_the_meter_holds_a_floating_pin_at_zero():
    """Alone, the circuit says nothing of a pin on which nothing hangs; through 10 Mohm it is within a microvolt."""
    model = HostModel.of(host_setup().circuit)
    volts = model.volts(draw_values(model.assembly, ["host"]), [(8, 7)], 23.0)
    assert abs(volts[0, 0]) < 1e-6


def test_a_pin_is_read_through_the_meters_own_input():
    """The position input hangs on signal ground by 110 kohm; 10 Mohm to the return divide it (Ohm's law)."""
    model = HostModel.of(host_setup().circuit)
    position, ground = model.volts(draw_values(model.assembly, ["host"]), [(4, 7), (5, 7)], 23.0)[:, 0]
    base_drop_V = -model.volts(draw_values(model.assembly, ["host"]), [(4, 5)], 23.0)[0, 0]
    divided = (ground - base_drop_V) * METER_OHM / (METER_OHM + 110e3)
    assert position == pytest.approx(divided, abs=3e-3)


def test_a_minus_sign_comes_with_swapped_ends():
    """Polarity is part of the reading."""
    model = HostModel.of(host_setup().circuit)
    one, other = model.volts(draw_values(model.assembly, ["host"]), [(2, 7), (7, 2)], 23.0)[:, 0]
    assert one == pytest.approx(-other)
    assert one > 20


def test_a_host_without_mains_is_dead():
    """The source at a share of nothing leaves nothing on any pin."""
    setup = host_setup()
    model = HostModel.of(setup.circuit)
    values = at_mains(model.assembly, setup.circuit, draw_values(model.assembly, ["host"]), 0.0)
    assert np.abs(model.volts(values, [(2, 7), (6, 7), (5, 7)], 23.0)).max() < 1e-6
    assert alone(setup.circuit).ground == "host.n0"
