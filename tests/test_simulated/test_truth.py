"""The truth about boards: from circuit and limits, against the simulated bench's own voltages."""

from __future__ import annotations

import json
from functools import cache
from typing import Any

import pytest
from stations import derive_once

from batchtest.circuits import BenchModel
from batchtest.errors import NoOperatingPoint
from batchtest.files.library import Setup
from batchtest.nouns import Limit, Measurand
from batchtest.procedure.actions import CheckCold, PowerDown, Procedure, ProvePinMap
from batchtest.simulated import BoardTruth, truth
from batchtest.simulated.doubts import Doubt
from batchtest.simulated.truth import _against
from test_simulated.desk import Desk, changed

FAULTS = {"VN-0004": "R5B open", "VN-0009": "DZ12 short", "VN-0014": "RS12 short", "VN-0020": "RL5 short"}


@cache
def procedure() -> Procedure:
    """The demo's procedure."""
    return derive_once(changed())


def true_of(setup: Setup, *serials: str) -> list[BoardTruth]:
    """The truth by the demo's procedure."""
    return truth(setup, procedure(), serials)


@pytest.mark.no_cover
def test_good_boards_must_pass_and_bad_ones_must_not():
    """The demo's limits are wide enough for drawn parts, and catch these faults."""
    serials = [f"VN-{number:04}" for number in range(1, 31)]
    found = true_of(changed(boards=FAULTS), *serials)
    assert [board.serial for board in found] == serials
    assert {board.serial: board.fault for board in found if board.fault} == FAULTS
    assert {board.serial for board in found if board.must == "not-pass"} == set(FAULTS)
    assert all(board.must == "pass" for board in found if not board.fault)


def test_the_subtle_fault_is_named_by_its_measurement():
    """RS12 short: the output resistance of its rail is beyond its limit."""
    board = true_of(changed(boards=FAULTS), "VN-0014")[0]
    assert "analog output resistance" in board.why


def test_true_values_are_where_the_simulated_bench_settles():
    """Rails at load point 3, the supply's current, a cold resistance, and the fitted derived values."""
    setup, desk = changed(), Desk()
    found = true_of(setup, "VN-0001")[0].readings
    desk.place()
    for load in desk.rack.loads.values():
        load.trip_A, load.trip_W = 1.0, 10.0
    desk.power(24, 0.5)
    for channel, amperes in ((1, 0.04), (2, 0.04), (3, 0.02)):
        load = desk.rack.loads[channel]
        load.set_A, load.true_A, load.on = amperes, amperes, True
    desk.rack.apply(desk.now)
    for rail in ("feed", "analog", "logic", "core", "bias"):
        assert desk.rack.volts(rail, desk.now + 1) == pytest.approx(found[f"{rail} @ load point 3"], abs=1e-6)
    first, last = (found[f"logic @ load point {number}"] for number in (1, 3))
    assert first is not None
    assert last is not None
    assert found["logic load regulation"] == pytest.approx((first - last) / 5)
    assert found["logic output resistance"] == pytest.approx((first - last) / 0.04)
    assert desk.rack.board is not None
    assert found["logic-short"] == pytest.approx(desk.rack.board.cold("logic", 1e-3, 10) / 1e-3, rel=1e-6)


def test_every_limit_of_cold_and_powered_actions_has_its_value():
    """And nothing of what is about the bench: reference, contacts, id, residual voltage."""
    found = set(true_of(changed(), "VN-0001")[0].readings)
    unpowered = (action for action in procedure().gate if isinstance(action, ProvePinMap | CheckCold))
    cold = {one.name for action in unpowered for one in action.measurements}
    loaded = (action for action in procedure().powered if not isinstance(action, PowerDown))
    powered = {one.name for action in loaded for one in action.measurements if one.limit is not None}
    assert found >= cold | powered
    assert not any(name.startswith(("reference", "contact", "residual", "id resistor")) for name in found)


def test_cold_values_are_what_the_simulated_meter_reads():
    """Of the pin map and the cold checks, over range where the truth has no value: by the meter's own accuracy."""
    setup, desk = changed(), Desk()
    found = true_of(setup, "VN-0001")[0].readings
    desk.place()
    unpowered = (action for action in procedure().gate if isinstance(action, ProvePinMap | CheckCold))
    for one in (each for action in unpowered for each in action.measurements):
        channel = setup.fixture.points[one.point].scanner
        if one.measurand is Measurand.DIODE:
            desk.close(channel)
            desk.ask("meter", "CONF:DIOD;:DIOD:NPLC 1")
            desk.now += 0.2
            shown = desk.numbers("meter", "READ?")[0]
        else:
            shown = desk.ohms(channel, one.range)[0]
        true = found[one.name]
        assert shown == (9.9e37 if true is None else pytest.approx(true, rel=2e-4, abs=5e-5 * one.range)), one.name


def test_it_can_be_written_as_json():
    """For other programs and later looks."""
    board = true_of(changed(boards=FAULTS), "VN-0009")[0]
    assert json.loads(json.dumps(board.as_json()))["fault"] == "DZ12 short"


@pytest.mark.parametrize(
    ("keys", "why"),
    [
        pytest.param({"cable": "mist-lead"}, "the cable fitted is mist-lead", id="cable"),
        pytest.param({"open_needles": ("TP3",)}, "no contact at TP3", id="needle"),
    ],
)
def test_a_bench_fault_lets_no_board_pass(keys: dict[str, Any], why: str):
    """Another cable than the fixture's, or a needle that does not touch."""
    board = true_of(changed(**keys), "VN-0001")[0]
    assert board.must == "not-pass"
    assert board.why.startswith(why)


def test_a_point_with_an_open_needle_has_no_value():
    """It cannot be reached; the others can."""
    found = true_of(changed(open_needles=("TP3",)), "VN-0001")[0].readings
    assert found["logic @ load point 1"] is None
    assert found["core @ load point 1"] is not None


def test_a_board_without_an_operating_point_may_be_either(monkeypatch: pytest.MonkeyPatch):
    """The node is named, and the other boards of the batch have their truth."""
    setup = changed(boards={"VN-0003": "R5B open"})
    true_of(setup, "VN-0001")  # derives the procedure while its circuit can be solved
    powered = BenchModel.powered

    def unsolvable(model: BenchModel, values: Any, *arguments: Any, **keys: Any) -> Any:
        if len(values) > 1 or model.assembly.faults:
            raise NoOperatingPoint("node board.v5 does not settle")
        return powered(model, values, *arguments, **keys)

    monkeypatch.setattr(BenchModel, "powered", unsolvable)
    found = true_of(setup, "VN-0001", "VN-0002", "VN-0003")
    assert [board.must for board in found] == ["pass", "pass", "either"]
    assert found[2].why == "node board.v5 does not settle"


@pytest.mark.parametrize(
    ("value", "must"),
    [
        pytest.param(5.0, "pass", id="middle"),
        pytest.param(5.19, "pass", id="inside-by-more-than-two"),
        pytest.param(5.197, "either", id="within-two"),
        pytest.param(5.2005, "either", id="beyond-by-the-loads-share"),
        pytest.param(5.202, "not-pass", id="beyond"),
        pytest.param(4.79, "not-pass", id="below"),
        pytest.param(None, "not-pass", id="over-range"),
    ],
)
def test_where_a_value_lies_says_what_must_be(value: float | None, must: str):
    """Limits 4.8 to 5.2, U = 1.5 mV, the load moves the rail by 1 mV at most."""
    assert _against(Limit(lower=4.8, upper=5.2), value, Doubt(1.5e-3, 1e-3)) == must


def test_over_range_satisfies_a_lower_bound():
    """It is more than any; where it is the only one, that is a pass."""
    assert _against(Limit(lower=300.0), None, Doubt()) == "pass"


def test_boards_on_the_edge_may_be_either():
    """With an upper limit for the logic rail's resistance within a quarter per cent of the truth."""
    setup = changed()
    rail = setup.limits.rails["logic"]
    true = true_of(setup, "VN-0001")[0].readings["logic output resistance"]
    assert true is not None
    bounds = rail.resistance.model_copy(update={"upper": true * 1.0001}) if rail.resistance else None
    limits = setup.limits.model_copy(
        update={"rails": {**setup.limits.rails, "logic": rail.model_copy(update={"resistance": bounds})}}
    )
    object.__setattr__(setup, "limits", limits)
    assert truth(setup, derive_once(setup), ["VN-0001"])[0].must == "either"
