"""How far apart two cables read, against published figures of the demo's circuits."""

from __future__ import annotations

from collections.abc import Mapping, Set
from decimal import Decimal
from functools import cache
from itertools import combinations, permutations
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from test_circuits.demo import demo_cable, demo_circuit

from batchtest.cables.apart import APART, Compared, Pair, compare, compared, distance
from batchtest.cables.readings import ColdBench, ColdCircuit, ColdReading, Expected, Harness
from batchtest.circuits import BenchModel, join, nominal_values
from batchtest.files.bench import BenchFile, OhmsAccuracy
from batchtest.files.cable import CableFile
from batchtest.files.library import load_bench
from test_cables.bench_views import PINS, ROOT, bare_fixture, open_end, without_id

#: Every ordered pair of the seven pins that have a wire, and the id resistor's.
POINTS = {f"{PINS[plus]}-{PINS[minus]}": (plus, minus) for plus, minus in permutations(PINS, 2)}
#: Boards drawn for an expectation here; two at each temperature.
DRAWN = 6
LEADS = ("vent-lead", "mist-lead", "long-lead")
PAIRS = [(board, *pair) for board in ("vent", "mist") for pair in combinations(LEADS, 2)]
SWAPS = [(board, *pair) for board in ("vent", "mist") for pair in combinations(PINS, 2)]
#: The published meter: full scale (ohm), test current (A).
ROWS = ((100, "1e-3"), (1000, "1e-3"), (10_000, "1e-3"), (1000, "1e-4"), (10_000, "1e-4"), (100_000, "1e-4"))


@cache
def published_bench() -> BenchFile:
    """The demo's bench with the published meter: U = 0.02 % of reading + 0.01 % of range, 10 V compliance."""
    bench = load_bench(ROOT, "simulated")
    rectangular = Decimal(3).sqrt() / 2

    def row(range_: int, amperes: str) -> OhmsAccuracy:
        changed = {
            "range": Decimal(range_), "current": Decimal(amperes), "compliance": Decimal(10), "noise": Decimal(0),
            "reading": Decimal("0.0002") * rectangular, "of_range": Decimal("0.0001") * rectangular,
        }  # fmt: skip
        return bench.meter.accuracy.ohms[0].model_copy(update=changed)

    accuracy = bench.meter.accuracy.model_copy(update={"ohms": tuple(row(*one) for one in ROWS), "diode": ()})
    return bench.model_copy(update={"meter": bench.meter.model_copy(update={"accuracy": accuracy})})


@cache
def harness(board: str) -> Harness:
    """A board at the far end of a cable whose host end is open to the meter; contacts add 0.2 ohm to U."""
    fixture = bare_fixture({**POINTS, "id": (8, 7)}, contact_limit="0.1732 ohm")
    return Harness(open_end(), demo_circuit(board), ColdBench(published_bench(), fixture), DRAWN)


@cache
def bare_lead(name: str) -> CableFile:
    """A demo cable without its id resistor."""
    return without_id(demo_cable(name))


@cache
def bare_pair(board: str, one: str, other: str) -> Pair:
    """Two demo cables without id resistors, by every reading."""
    found = compare(harness(board), (f"bare {one}", bare_lead(one)), (f"bare {other}", bare_lead(other)))
    return Pair("open", board, one, other, tuple(found))


def published(reference: Mapping[str, Any], board: str, one: str, other: str) -> Mapping[str, Any]:
    """What is published of two cables."""
    found: Mapping[str, Any] = next(
        pair for pair in reference["pair"] if (pair["board"], pair["cables"]) == (board, [one, other])
    )
    return found


@pytest.mark.parametrize(("board", "one", "other"), PAIRS)
def test_without_id_resistors_pairs_are_told_apart_as_published(board, one, other, cold_reference):
    """The swapped pair is not, whatever is read; the other two are, by about as much."""
    case, pair = published(cold_reference, board, one, other), bare_pair(board, one, other)
    assert pair.apart == (case["distance"] >= APART)
    if pair.apart:
        assert pair.best.distance == pytest.approx(case["distance"], rel=0.25)
    else:
        assert pair.best.distance < 1.0
        assert case["by_instrument"] >= 2.0, "by the meter alone it would look told apart"
        assert pair.best.by_instrument >= 2.0


@pytest.mark.parametrize(("board", "one", "other"), PAIRS)
def test_the_pair_reads_what_is_published_for_it(board, one, other, cold_reference):
    """The published best reading at 27 C, with the one cable and with the other: a value, or over range."""
    case = published(cold_reference, board, one, other)
    for cable, ohms in zip((one, other), case["ohms"], strict=True):
        assert same(nominal_ohms(board, cable, case["plus_minus"], case["current_A"]), ohms)


def nominal_ohms(board: str, cable: str, point: str, current_A: float) -> float | None:
    """What a point reads with nominal parts at 27 C, on the highest range of a test current."""
    used, assembly = harness(board), join(open_end(), bare_lead(cable), demo_circuit(board))
    model = BenchModel.of(assembly, used.cold.fixture)
    circuit = ColdCircuit(model, nominal_values(assembly), np.array([27.0]))
    *_, highest = (reading for reading in used.cold.readings(point) if reading.current_A == current_A)
    return circuit.expected(highest).value


def same(found: float | None, ohms: float | str) -> bool:
    """Whether a value is a published one, within its last digit."""
    if found is None or isinstance(ohms, str):
        return found is None and ohms == "OL"
    return found == pytest.approx(ohms, rel=5e-4, abs=0.05)


@pytest.mark.parametrize(("board", "one", "other"), PAIRS)
def test_the_id_resistor_tells_every_pair(board, one, other, cold_reference):
    """By 10 U at least, with either board; here by more than was published, where tolerances were wider."""
    told = told_at(board, {"id"}, (one, demo_cable(one)), (other, demo_cable(other)))
    assert told >= max(APART, cold_reference["id"]["distance"][f"{one} {other}"])


def told_at(board: str, points: Set[str], one: tuple[str, CableFile], other: tuple[str, CableFile]) -> float:
    """By how many U the best reading of some points tells two cables."""
    used = harness(board)
    readings = [reading for reading in used.every() if reading.point in points]
    used.solve(dict((one, other)), readings)
    return max(compared(used, reading, one, other).distance for reading in readings)


def exchanged(cable: CableFile, one: int, other: int) -> CableFile:
    """A cable of equal length with two host pins exchanged."""
    pins = {one: other, other: one}
    wires = tuple(wire.model_copy(update={"host": pins.get(wire.host, wire.host)}) for wire in cable.wires)
    return cable.model_copy(update={"wires": wires})


@pytest.mark.parametrize(("board", "one", "other"), SWAPS, ids=[f"{b}-{PINS[o]}-{PINS[a]}" for b, o, a in SWAPS])
def test_every_exchanged_pair_but_one_is_told_apart(board, one, other, cold_reference):
    """By 10 U at least, at equal length: our U differs in detail, so that only the smallest published are compared."""
    right, name = f"{board}-lead", f"{PINS[one]}-{PINS[other]}"
    wrong = exchanged(bare_lead(right), one, other)
    changed = {point for point, pins in POINTS.items() if {one, other} & set(pins)}
    told = told_at(board, changed, (f"bare {right}", bare_lead(right)), (name, wrong))
    if name in cold_reference["swaps"]["never"]:
        assert told < 1.0
    else:
        assert told >= APART
    for pair, expected in cold_reference["swaps"][board].items():
        if pair in (name, f"{PINS[other]}-{PINS[one]}"):
            assert told == pytest.approx(expected, rel=0.15)


@pytest.mark.parametrize(("board", "one", "other"), PAIRS)
def test_the_meter_alone_flatters(board, one, other):
    """Tolerances, contacts and temperature only ever bring two cables nearer, at every reading."""
    readings = bare_pair(board, one, other).readings
    assert len(readings) == (len(POINTS) + 2) * len(ROWS)
    assert all(0.0 <= each.distance <= each.by_instrument for each in readings)


def test_more_than_half_of_the_readings_are_over_range(cold_reference):
    """60 % of them in the published table: over range is a value with a meaning, not a missing number."""
    readings = [each for each in bare_pair("vent", "vent-lead", "mist-lead").readings if each.range in (1e4, 1e5)]
    over = [each for each in readings if each.one is None]
    assert len(over) / len(readings) == pytest.approx(0.6, abs=0.1)


READING = ColdReading("id", published_bench().meter.accuracy.ohms[4])
OHMS = st.floats(0.0, 9_000.0)
EXPECTED = st.one_of(
    st.just(Expected(None)),
    st.builds(Expected, OHMS, st.floats(0.0, 500.0), st.just(True)),
    st.builds(Expected, OHMS, st.floats(0.0, 500.0), st.just(False)),
)


@settings(deadline=None)
@given(EXPECTED, EXPECTED)
def test_distance_is_the_same_from_either_side_and_flattered_by_the_meter(one: Expected, other: Expected):
    """Never below nothing; nothing between two that are alike, and where one of them says nothing."""
    cold = harness("vent").cold
    found = distance(cold, READING, one, other)
    assert found == distance(cold, READING, other, one)
    assert 0.0 <= found <= distance(cold, READING, one, other, tolerant=False)
    assert distance(cold, READING, one, one) == 0.0
    if not (one.certain and other.certain):
        assert found == 0.0


def test_two_that_are_over_range_are_alike():
    """Nothing tells one open pair from another."""
    assert distance(harness("vent").cold, READING, Expected(None), Expected(None)) == 0.0


@settings(deadline=None)
@given(OHMS, st.floats(0.0, 200.0))
def test_over_range_is_compared_as_the_end_of_the_range(ohms: float, sigma: float):
    """It lies there at least; nearer to the end, the other cable is told less."""
    cold, end = harness("vent").cold, Expected(READING.range)
    assert distance(cold, READING, Expected(ohms, sigma), Expected(None)) == distance(
        cold, READING, Expected(ohms, sigma), end
    )


def test_over_range_is_no_further_than_the_test_current_reaches():
    """On a range that its current cannot fill over range means less: 19.9 Mohm is not 80 Mohm away from it."""
    row = load_bench(ROOT, "simulated").meter.accuracy.ohms[-1]
    reading, cold = ColdReading("id", row), harness("vent").cold
    assert reading.range == 1e8
    assert distance(cold, reading, Expected(19.9e6), Expected(None)) < 1.0


def test_the_distance_is_difference_over_combined_expanded_uncertainty():
    """By hand: two meters' U of 1.2 ohm and 1.4 ohm, twice a sigma of half an ohm, contacts of 0.2 ohm."""
    cold = harness("vent").cold
    combined = np.sqrt(1.2**2 + 1.4**2 + (2 * 0.5) ** 2 + 0.2**2)
    found = distance(cold, READING, Expected(1000.0, 0.5), Expected(2000.0))
    assert found == pytest.approx(1000 / combined, rel=1e-3)


def told_by(unit: str, distance_: float) -> Compared:
    """A reading that tells by so much."""
    return Compared(
        point="any", function="any", unit=unit, range=1.0, current_A=1e-3, one=0.0, other=1.0,
        by_instrument=2 * distance_, distance=distance_,
    )  # fmt: skip


@pytest.mark.parametrize(
    ("ohms", "volts", "apart"),
    [
        pytest.param(9.9, 9.8, False, id="none"),
        pytest.param(10.0, 3.0, True, id="the-plainer"),
        pytest.param(9.9, 10.1, True, id="only-the-other"),
    ],
)
def test_a_pair_is_told_apart_by_any_reading(ohms, volts, apart):
    """Although the plainer of two readings that tell about alike stands first."""
    pair = Pair("nest", "board", "one", "other", (told_by("ohm", ohms), told_by("V", volts)))
    assert pair.best.unit == "ohm"
    assert pair.apart is apart


def test_the_best_reading_comes_first_and_a_plain_one_before_its_like():
    """Sorted by distance; a resistance counts a tenth more than a drop."""
    for pair in (bare_pair(*each) for each in PAIRS):
        distances = [each.distance for each in pair.readings]
        assert distances == sorted(distances, reverse=True)
