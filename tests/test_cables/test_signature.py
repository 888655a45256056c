"""The readings that know a cable: which are chosen, and windows that hold every good board and no other cable."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_circuits.demo import circuit, straight_cable

from batchtest.cables.apart import APART
from batchtest.cables.readings import GIVES_UP, OVER_RANGE, ColdBench, ColdCircuit, ColdReading, Expected, Harness
from batchtest.cables.signature import ISOLATION_OHM, Signature, inside, reaching_host, sign, window, within
from batchtest.circuits import BenchModel, draw_values, join
from batchtest.files.cable import CableFile, IdResistor
from batchtest.files.library import load_bench
from batchtest.nouns import Limit
from test_cables.bench_views import ROOT, bare_fixture, suspects

FIXTURES = ("vent-nest", "mist-nest")
PORTS = "ka p24 kb pos sg acc n0 id"
BENCH = load_bench(ROOT, "simulated")
#: Boards, hosts and cables that are drawn anew for each fixture, none of them among those of any expectation.
OTHERS = 500


def other_boards(fixture: str) -> ColdCircuit:
    """Others by the right cable, each somewhere from 18 to 28 C."""
    found = suspects(fixture)
    harness = found.harness
    assembly = join(harness.host, found.cables[found.signature.cable], harness.board)
    values = [draw_values(assembly, [f"other {seed}"], seed=50_000 + seed) for seed in range(OTHERS)]
    warm_C = np.random.default_rng(3).uniform(18.0, 28.0, OTHERS)
    return ColdCircuit(BenchModel.of(assembly, harness.cold.fixture), np.concatenate(values), warm_C)


@pytest.mark.no_cover
@pytest.mark.parametrize("fixture", FIXTURES)
def test_no_good_board_is_outside_of_a_window(fixture):
    """A thousand others in all, with the meter off as far as it may be, and needles that just pass."""
    signature, cold = suspects(fixture).signature, suspects(fixture).harness.cold
    boards, random = other_boards(fixture), np.random.default_rng(4)
    boards.solve(pin.reading for pin in signature.readings)
    refused = {}
    for pin in signature.readings:
        volts = boards.volts(pin.reading)
        value = volts * pin.reading.per_volt
        off = np.array([cold.half_width(pin.reading, float(one)) for one in value])
        value = value + random.uniform(-1, 1, OTHERS) * off + random.uniform(0, 1, OTHERS) * cold.contact(pin.reading)
        over = (volts >= GIVES_UP * pin.reading.compliance_V) | (value > OVER_RANGE * pin.reading.range)
        good = [
            pin.limit.upper is None if is_over else inside(pin.limit, one)
            for one, is_over in zip(value, over, strict=True)
        ]
        refused[pin.name] = OTHERS - sum(good)
    assert set(refused.values()) == {0}, refused


@pytest.mark.parametrize("fixture", FIXTURES)
def test_every_point_at_the_host_end_is_read_once(fixture):
    """In the fixture's order, under names that are theirs alone; the id resistor's says whose it is."""
    found = suspects(fixture)
    file, readings = found.harness.cold.fixture, found.signature.readings
    assert [pin.reading.point for pin in readings] == list(reaching_host(file))
    assert len({pin.name for pin in readings}) == len(readings)
    assert {pin.name: pin.reading.point for pin in readings} == {
        (f"id resistor of {file.cable}" if name == file.identify else f"pin map {name}"): name
        for name, point in file.points.items()
        if "host." in f"{point.plus} {point.minus}"
    }


@pytest.mark.parametrize("fixture", FIXTURES)
def test_a_point_is_read_on_the_lowest_range_that_serves(fixture):
    """What conducts on the lowest that holds its whole window; what is open on the lowest that speaks of isolation."""
    found = suspects(fixture)
    own, cold = found.signature.cable, found.harness.cold
    kinds = set()
    for pin in found.signature.readings:
        lower = [one for one in cold.readings(pin.reading.point) if one.unit == "ohm" and one.range < pin.reading.range]
        if pin.expected[own].value is None:
            kinds.add("open")
            assert pin.reading.range == ISOLATION_OHM
            assert (pin.limit.lower, pin.limit.upper) == (ISOLATION_OHM, None)
        else:
            kinds.add("conducts")
            assert pin.limit.upper is not None
            assert pin.limit.upper <= pin.reading.range
            assert not any(pin.limit.upper <= one.range for one in lower if one.current_A == pin.reading.current_A)
    assert "conducts" in kinds
    assert fixture != "vent-nest" or "open" in kinds


@pytest.mark.parametrize("fixture", FIXTURES)
def test_every_other_cable_is_told_and_lies_outside(fixture):
    """By the best reading, by the distance that is stated; with the right cable every reading lies in its window."""
    found = suspects(fixture)
    signature = found.signature
    assert signature.like == ()
    assert set(signature.distances) == set(signature.best) == set(found.cables) - {signature.cable}
    assert min(signature.distances.values()) >= APART
    for other, pin in signature.best.items():
        assert pin in signature.readings
        assert not within(pin.limit, pin.expected[other])
    assert all(within(pin.limit, pin.expected[signature.cable]) for pin in signature.readings)


def lead(*wires: tuple[int, int], ohms: str | None = None) -> CableFile:
    """A cable of 0.1 ohm wires, with an id resistor across host pins 8 and 7 or without."""
    cable = straight_cable(list(wires))
    resistor = IdResistor(value=ohms, tolerance="1 %", pins=(8, 7)) if ohms else None
    return cable.model_copy(update={"id_resistor": resistor})


def signed(
    board: str, points: dict[str, tuple[int, int]], own: CableFile, contact: str = "0.1 ohm", **others: CableFile
) -> Signature:
    """The readings that know a cable between a small board and an empty host."""
    fixture = bare_fixture(points, contact_limit=contact, identify="id" if own.id_resistor else None)
    host = circuit("RI1 ka n0 1e10\nRI2 p24 n0 1e10\nRI3 kb n0 1e10\nRI8 id n0 1e10", PORTS)
    harness = Harness(host, circuit(board, PORTS), ColdBench(BENCH, fixture), 3)
    return sign(harness, {"own": own, **others}, "own")


def test_a_reading_that_contacts_may_lift_over_its_range_is_taken_on_the_next():
    """99.95 ohm fit 100 ohm, but not with needles of 0.1 ohm: over range would refuse a good board."""
    found = signed("R1 ka n0 99.75", {"across": (1, 7)}, lead((1, 1), (2, 2), (7, 7)))
    across = next(pin for pin in found.readings if pin.reading.point == "across")
    assert across.expected["own"].value == pytest.approx(99.95)
    assert across.reading.range == 1000.0


def test_what_the_lowest_ranges_do_not_tell_is_read_on_another():
    """90 ohm against 110 ohm: on 100 ohm the other is neither a value nor over range, on 1 kohm it is told."""
    board = "R1 ka n0 90\nR2 kb n0 110"
    right, wrong = lead((1, 1), (3, 3), (7, 7)), lead((3, 1), (1, 3), (7, 7))
    found = signed(board, {"across": (1, 7)}, right, swapped=wrong)
    assert [pin.name for pin in found.readings] == ["pin map feed", "pin map across", "pin map across, 1 kohm"]
    assert found.best["swapped"] is found.readings[-1]
    assert found.distances["swapped"] >= APART
    assert found.like == ()


def test_a_further_reading_is_taken_once_for_all_cables_that_it_tells():
    """Two cables that only one further reading tells need it once."""
    board = "R1 ka n0 90\nR2 kb n0 110\nR3 p24 n0 1k"
    right, wrong = lead((1, 1), (3, 3), (7, 7)), lead((3, 1), (1, 3), (7, 7))
    found = signed(board, {"across": (1, 7)}, right, swapped=wrong, again=wrong)
    assert len(found.readings) == 3
    assert found.best["swapped"] is found.best["again"]


def test_a_further_reading_has_a_window_within_its_range():
    """Of 99.97 ohm and 99.6 ohm 100 ohm would tell, but puts good boards over range; 1 kohm does not quite tell."""
    board, points = "R1 ka n0 99.77\nR2 kb n0 99.4", {"across": (1, 7)}
    right, wrong = lead((1, 1), (3, 3), (7, 7)), lead((3, 1), (1, 3), (7, 7))
    found = signed(board, points, right, contact="1 mohm", swapped=wrong)
    assert [(pin.name, pin.reading.range) for pin in found.readings][1:] == [("pin map across", 1000.0)]
    assert 8.0 < found.distances["swapped"] < APART


def test_a_twin_is_told_by_nothing():
    """It is named as like, with the reading that would do best and by how little."""
    right = lead((1, 1), (7, 7))
    found = signed("R1 ka n0 50", {"across": (1, 7)}, right, twin=right, cut=lead((7, 7)))
    assert found.like == ("twin",)
    assert found.distances["twin"] < 1.0
    assert found.distances["cut"] >= APART
    assert not any(", " in pin.name for pin in found.readings)


def test_the_best_reading_of_a_cable_that_is_too_close_is_the_best_of_all():
    """Were only the chosen range looked at, a cable that another range nearly tells would seem nothing like told."""
    board = "R1 ka n0 99\nR2 kb n0 99.9"
    right, wrong = lead((1, 1), (3, 3), (7, 7)), lead((3, 1), (1, 3), (7, 7))
    found = signed(board, {"across": (1, 7)}, right, swapped=wrong)
    chosen = [pin.name for pin in found.readings]
    assert chosen == ["pin map feed", "pin map across"]
    assert found.like == ("swapped",)
    assert found.distances["swapped"] == pytest.approx(7.5, abs=1.0)
    assert found.best["swapped"].name == "pin map across, 1 kohm"


def test_the_id_resistor_has_a_reading_like_any_other_where_no_point_is_named_for_it():
    """Only its name differs."""
    with_id, other = lead((1, 1), (7, 7), ohms="1 kohm"), lead((1, 1), (7, 7), ohms="2.2 kohm")
    named = signed("R1 ka n0 50", {"id": (8, 7)}, with_id, other=other)
    assert named.best["other"].name == "id resistor of own"
    assert [pin.name for pin in named.readings] == ["pin map feed", "id resistor of own"]
    unnamed = signed("R1 ka n0 50", {"id": (8, 7)}, lead((1, 1), (7, 7)), other=other)
    assert unnamed.best["other"].name == "pin map id"


def test_a_fixture_that_touches_no_host_pin_has_no_pin_map():
    """Points on the board alone say nothing of the cable by themselves."""
    fixture = suspects().harness.cold.fixture
    inner = {name: point for name, point in fixture.points.items() if "host." not in f"{point.plus} {point.minus}"}
    assert inner
    assert reaching_host(fixture.model_copy(update={"points": inner})) == []


COLD = ColdBench(BENCH, bare_fixture({}))
READING = ColdReading("feed", BENCH.meter.accuracy.ohms[1])


@settings(deadline=None)
@given(st.floats(0.0, 900.0), st.floats(0.0, 10.0))
def test_a_window_is_six_sigma_three_meters_and_a_contact(value: float, sigma: float):
    """Contacts only add; below a contact resistance less is no fault."""
    found = window(COLD, READING, Expected(value, sigma))
    half = 6 * sigma + 3 * (0.012e-2 * value + 0.0012e-2 * 1000)
    assert found.upper == pytest.approx(value + half + 5.0)
    if value - half > 5.0:
        assert found.lower == pytest.approx(value - half)
    else:
        assert found.lower is None
    assert within(found, Expected(value, sigma))


def test_an_open_pair_wants_all_that_the_range_reaches():
    """The end of the range, or what the test current reaches before."""
    assert window(COLD, READING, Expected(None)).lower == 1000.0
    highest = ColdReading("feed", BENCH.meter.accuracy.ohms[-1])
    assert window(COLD, highest, Expected(None)) == replace(
        window(COLD, READING, Expected(None)), lower=pytest.approx(20e6, rel=2e-3)
    )


@pytest.mark.parametrize(
    ("limit", "expected", "lies"),
    [
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(1.0), True, id="on-the-lower"),
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(2.0), True, id="on-the-upper"),
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(0.9), False, id="below"),
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(2.1), False, id="above"),
        pytest.param(Limit(upper=2.0), Expected(0.0), True, id="no-lower"),
        pytest.param(Limit(lower=1.0), Expected(9.0), True, id="no-upper"),
        pytest.param(Limit(lower=1.0), Expected(None), True, id="over-range-is-wanted"),
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(None), False, id="over-range-is-not-wanted"),
        pytest.param(Limit(lower=1.0, upper=2.0), Expected(9.0, certain=False), True, id="says-nothing"),
    ],
)
def test_what_is_expected_lies_in_a_window_or_not(limit, expected, lies):
    """Bounds included; what says nothing lies in any."""
    assert within(limit, expected) is lies
