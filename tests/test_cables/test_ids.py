"""Id resistors: the series they are taken from, and that the proposed one tells a cable from all others."""

from __future__ import annotations

from collections.abc import Callable
from decimal import Decimal
from itertools import combinations
from typing import Any

import pytest
from test_circuits.demo import circuit, straight_cable

from batchtest.cables.apart import APART
from batchtest.cables.ids import DECADES, E24, TOLERANCE, Proposal, fitted, propose, propose_all, values
from batchtest.cables.readings import ColdBench, Harness
from batchtest.cables.signature import sign
from batchtest.files.bench import BenchFile
from batchtest.files.cable import CableFile, IdResistor
from batchtest.files.library import load_bench
from test_cables.bench_views import ROOT, bare_fixture

PORTS = "ka p24 kb pos sg acc n0 id"
BENCH = load_bench(ROOT, "simulated")
HOST = circuit("RI1 ka n0 1e10\nRI2 p24 n0 1e10\nRI3 kb n0 1e10\nRI8 id n0 1e10", PORTS)
BOARD = circuit("R1 ka n0 1k\nR2 p24 n0 1k", PORTS)


def harness(bench: BenchFile = BENCH, identify: str | None = "id", **points: tuple[int, int]) -> Harness:
    """A small board in a fixture with an id point, or with other points."""
    fixture = bare_fixture(points or {"id": (8, 7)}, identify=identify)
    return Harness(HOST, BOARD, ColdBench(bench, fixture), 3)


def lead(ohms: str | None = None, pins: tuple[int, int] = (8, 7)) -> CableFile:
    """A cable with an id resistor or without; all are wired alike."""
    resistor = IdResistor(value=ohms, tolerance="1 %", pins=pins) if ohms else None
    return straight_cable([(1, 1), (2, 2), (7, 7)]).model_copy(update={"id_resistor": resistor})


def test_the_series_is_that_of_the_standard(reference: Callable[[str, str], dict[str, Any]]):
    """Every E24 value, digit for digit (IEC 60063:2015)."""
    case = reference("07_parts_and_wire", "e24")
    assert [float(value) for value in E24] == case["expected"]["E24"]


def test_values_rise_through_both_decades():
    """From 1 kohm to 91 kohm, as written: a resistor that can be bought."""
    found = list(values())
    assert found == sorted(found)
    assert (found[0], found[-1], len(found)) == (Decimal(1000), Decimal(91000), len(DECADES) * len(E24))
    assert Decimal(4700) in found


@pytest.mark.parametrize(
    ("taken", "ohms"),
    [
        pytest.param(None, 1000, id="from-nothing"),
        pytest.param("1 kohm", 1200, id="from-1k"),
        pytest.param("1.1 kohm", 1300, id="from-1k1"),
        pytest.param("1.3 kohm", 1000, id="below-another"),
    ],
)
def test_the_lowest_value_that_tells_is_proposed(taken, ohms):
    """100 ohm between 1 kohm and 1.1 kohm are 8.7 U: twice a third of 1 % of either, and 5.8 ohm of contacts."""
    cables = {"own": lead(), "other": lead(taken), "far": lead("47 kohm")}
    found = propose(harness(), cables, "own")
    assert found == Proposal("own", Decimal(ohms), (8, 7), pytest.approx(found.distance if found else 0))
    assert found.distance >= APART
    told = sign(harness(), {**cables, "own": fitted(cables["own"], found)}, "own")
    assert told.like == ()
    assert min(told.distances.values()) == pytest.approx(found.distance, rel=0.25)


@pytest.mark.parametrize("taken", ["1 kohm", "1.1 kohm"])
def test_a_lower_value_would_not_do(taken):
    """What was passed over reads too near."""
    cables = {"own": lead(), "other": lead(taken)}
    found = propose(harness(), cables, "own")
    assert found is not None
    for ohms in values():
        if ohms < found.ohms:
            close = {**cables, "own": lead(f"{ohms} ohm")}
            assert sign(harness(), close, "own").distances["other"] < APART


def test_a_cable_that_is_alone_takes_the_lowest():
    """There is nothing to be told from."""
    assert propose(harness(), {"own": lead()}, "own") == Proposal("own", Decimal(1000), (8, 7), float("inf"))


def test_the_resistor_that_is_there_does_not_count():
    """A cable that is too near another gets a new value, not one that is far from its own."""
    found = propose(harness(), {"own": lead("1 kohm"), "other": lead("1 kohm")}, "own")
    assert found is not None
    assert found.ohms == 1200


def test_the_fixtures_own_point_is_taken_first():
    """It is made for that; else any point across a host pin that no cable has a wire on, in the fixture's order."""
    points = {"spare": (5, 7), "id": (8, 7)}
    for identify, pins in (("id", (8, 7)), (None, (5, 7))):
        found = propose(harness(identify=identify, **points), {"own": lead(), "other": lead()}, "own")
        assert found is not None
        assert found.pins == pins


def test_the_fixtures_own_point_serves_where_another_cable_has_a_wire():
    """What matters is that the needy cable has none there; no other point is taken on that risk."""
    cables = {"own": lead(), "other": straight_cable([(1, 1), (2, 2), (7, 7), (8, 8)])}
    found = propose(harness(), cables, "own")
    assert found is not None
    assert found.pins == (8, 7)
    assert propose(harness(identify=None), cables, "own") is None


@pytest.mark.parametrize(
    "points",
    [
        pytest.param({"across": (1, 7)}, id="all-wired"),
        pytest.param({"across": (1, 2)}, id="both-wired"),
    ],
)
def test_without_a_free_pin_there_is_none(points):
    """An id resistor across wires would change what the board sees."""
    assert propose(harness(identify=None, **points), {"own": lead(), "other": lead()}, "own") is None


def test_a_point_on_the_board_is_no_place():
    """The resistor sits at the host end; a test point there is no pin of the cable either."""
    used = harness(identify=None)
    inner = used.cold.fixture.points["id"].model_copy(update={"plus": "host.TP1"})
    fixture = used.cold.fixture.model_copy(update={"points": {"feed": used.cold.fixture.points["feed"], "in": inner}})
    moved = Harness(HOST, BOARD, ColdBench(BENCH, fixture), 3)
    assert propose(moved, {"own": lead(), "other": lead()}, "own") is None


def test_a_meter_without_a_range_for_any_value_leaves_none():
    """Ranges up to 1 kohm hold no resistor from 1 kohm on."""
    rows = tuple(row for row in BENCH.meter.accuracy.ohms if row.range <= 1000)
    accuracy = BENCH.meter.accuracy.model_copy(update={"ohms": rows})
    short = BENCH.model_copy(update={"meter": BENCH.meter.model_copy(update={"accuracy": accuracy})})
    assert propose(harness(short), {"own": lead(), "other": lead()}, "own") is None


def test_a_resistor_elsewhere_does_not_help_at_the_point():
    """Another cable's id across other pins is open where this one's is read: any value tells them."""
    found = propose(harness(), {"own": lead(), "other": lead("1 kohm", pins=(6, 7))}, "own")
    assert found is not None
    assert found.ohms == 1000


def test_what_is_fitted_is_what_was_proposed():
    """Value, tolerance and pins, as the cable's file would have them."""
    found = fitted(lead(), Proposal("own", Decimal("9100"), (8, 5), 12.0)).id_resistor
    assert found == IdResistor(value="9.1 kohm", tolerance="1 %", pins=(8, 5))
    assert found.tolerance == TOLERANCE


def told_apart(cables: dict[str, CableFile]) -> bool:
    """Whether every cable of a library is known among the others."""
    return not any(sign(harness(), cables, name).like for name in cables)


@pytest.mark.parametrize(
    "ids", [(None,) * 4, ("1 kohm",) * 4, (None, "1 kohm", None, "1 kohm")], ids=["none", "all-one", "mixed"]
)
def test_cures_for_several_cables_go_together(ids):
    """Two look-alikes are never given one value: with all proposals fitted every cable is known."""
    cables = {name: lead(ohms) for name, ohms in zip(("a", "b", "c", "d"), ids, strict=True)}
    assert not told_apart(cables)
    close = [pair for pair in combinations(cables, 2) if pair[1] in sign(harness(), cables, pair[0]).like]
    proposals = list(propose_all(harness(), cables, close))
    assert len({one.ohms for one in proposals}) == len(proposals)
    assert told_apart(cables | {one.cable: fitted(cables[one.cable], one) for one in proposals})


def test_the_one_that_has_none_gets_the_resistor():
    """Rather than a new one for the cable that has one; where there is no place, nobody does."""
    cables = {"a": lead("1 kohm"), "b": lead()}
    assert [one.cable for one in propose_all(harness(), cables, [("a", "b")])] == ["b"]
    assert list(propose_all(harness(identify=None, across=(1, 7)), cables, [("a", "b")])) == []
