"""Watching sets of raw values: what settles, what is restless, and whose scatter is known."""

from __future__ import annotations

import math

import pytest
from test_bench.benches import scripted_bench

from batchtest.measuring.accuracies import Accuracies
from batchtest.measuring.raw import RawSet
from batchtest.measuring.spreads import Spreads
from batchtest.measuring.watching import Watch
from batchtest.nouns import Measurand


def raw(*values: float, at_s: float = 0.0, nplc: float = 1.0, range_: float = 10.0) -> RawSet:
    """A set of raw values of one line cycle each."""
    return RawSet(values, "", range_, nplc, 0.02, at_s)


def watched(*sets: tuple[float, ...], tau_s: float = 0.001, guard: float = 0.001) -> list[bool]:
    """What a watch says of sets taken one after another, by a meter of 10 uV noise."""
    watch = Watch(tau_s)
    return [watch.sees_settled(raw(*values, at_s=0.1 * n), 1e-5, guard) for n, values in enumerate(sets)]


@pytest.mark.parametrize(
    ("sets", "says"),
    [
        pytest.param([(5.0, 5.00001, 5.0)], [True], id="still"),
        pytest.param([(4.9, 4.95, 4.98), (5.0, 5.0, 5.0)], [False, True], id="on-its-way-then-still"),
        pytest.param([(5.0, 5.1, 5.05), (5.05, 4.9, 5.0), (5.1, 5.0, 5.05)], [False, False, True], id="restless"),
        pytest.param([(5.0, 5.1, 5.05), (5.1, 5.0, 5.12), (5.15, 5.0, 5.2)], [False, False, False], id="rising"),
        pytest.param([(5.2, 5.1, 5.3), (5.15, 5.0, 5.2), (5.1, 5.0, 5.05)], [False, False, False], id="falling"),
        pytest.param([(5.0, 5.01), (7.0, 7.01), (4.0, 4.01)], [False, False, False], id="jumping"),
        pytest.param([(math.inf, math.inf)], [True], id="over-range"),
        pytest.param([(5.0, 5.1), (math.nan, 5.0), (5.0, 5.1), (4.98, 5.08)], [False] * 4, id="a-gap-begins-anew"),
    ],
)
def test_what_a_watch_says_of_sets(sets: list[tuple[float, ...]], says: list[bool]) -> None:
    """Still within the meter's noise is settled; so is up and down within its own; one way only is not."""
    assert watched(*sets) == says


def test_a_slow_point_needs_values_far_apart() -> None:
    """With a long time constant a set by itself says too little; the first and the latest do."""
    watch = Watch(2.0)
    says = [watch.sees_settled(raw(5.0, 5.00002, 5.00001, at_s=at), 1e-5, 0.001) for at in (0.0, 0.1)]
    assert says == [False, False]


def spreads() -> Spreads:
    """Spreads of the scripted bench's meter: 6 uV on 10 V, 100 uV on 100 V."""
    with scripted_bench() as scripted:
        return Spreads(Accuracies(scripted.file, 23.0))


def test_a_restless_rail_is_not_taken_for_the_meter_s_noise() -> None:
    """One unquiet set does not excuse the movement of the next."""
    known = spreads()
    for _ in range(6):
        known.pool(Measurand.VOLTAGE, raw(5.0, 5.00001, 4.99999))
    before = known.known(Measurand.VOLTAGE, raw(5.0))
    assert known.pool(Measurand.VOLTAGE, raw(5.0, 5.02, 4.98)) == pytest.approx(0.02)
    assert known.known(Measurand.VOLTAGE, raw(5.0)) == before


@pytest.mark.parametrize(("nplc", "shared"), [(0.1, True), (1.5, True), (1.0, False), (10.0, False)])
def test_hum_is_known_on_every_range(nplc: float, shared: bool) -> None:
    """Below one line cycle, and at parts of one, what was seen on one range holds on the others."""
    known = spreads()
    known.pool(Measurand.VOLTAGE, raw(5.0, 5.01, 4.99, nplc=nplc))
    other = known.known(Measurand.VOLTAGE, raw(24.0, nplc=nplc, range_=100.0))
    assert (other > 0.005) is shared
    assert known.known(Measurand.RESISTANCE, raw(1.0, nplc=nplc, range_=100.0)) == 0.0


def test_the_meter_s_noise_falls_with_integration() -> None:
    """White noise is averaged by a longer integration."""
    known = spreads()
    short, long = (known.known(Measurand.VOLTAGE, raw(5.0, nplc=nplc)) for nplc in (1.0, 100.0))
    assert (short, long) == (pytest.approx(6e-6), pytest.approx(6e-7))
