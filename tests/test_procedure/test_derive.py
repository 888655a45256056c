"""The derived procedure: safest first, everything that the files ask for, nothing that they do not."""

from __future__ import annotations

from dataclasses import replace

import pytest
from stations import demo_setup, derive_once

from batchtest.circuits import draw_values
from batchtest.files.limits import RailLimit, load_points
from batchtest.nouns import Limit, Measurand, Phase
from batchtest.procedure import Procedure, derive
from batchtest.procedure.actions import (
    ApplyLoads,
    CheckCold,
    CheckInterlock,
    Discharge,
    Identify,
    MakeSafe,
    PowerDown,
    ProveContact,
    ProvePinMap,
    ReadReference,
    ReadResidual,
    SoftStart,
)
from batchtest.procedure.model import Nominal
from batchtest.procedure.rails import bounds
from batchtest.procedure.windows import steps


@pytest.fixture(scope="module")
def procedure() -> Procedure:
    """The demo's procedure."""
    return derive_once(demo_setup())


def test_the_gate_goes_from_the_safest_to_the_most_telling(procedure: Procedure):
    """Off and interlock first; volts before ohms on a point, the known voltage around the zeros; cable, board last."""
    assert [type(action) for action in procedure.gate] == [
        MakeSafe,
        CheckInterlock,
        ReadReference,
        ReadResidual,
        Discharge,
        ProveContact,
        ReadResidual,
        ReadReference,
        Identify,
        ProvePinMap,
        CheckCold,
    ]


def test_power_rises_and_its_end_is_measured(procedure: Procedure):
    """Soft start steps rise, load points rise; last, every pair of terminals is read, between two known voltages."""
    steps_V = [action.volts for action in procedure.powered if isinstance(action, SoftStart)]
    loads_A = [sum(action.currents.values()) for action in procedure.powered if isinstance(action, ApplyLoads)]
    last = procedure.powered[-1]
    assert steps_V == sorted(steps_V) == [5.0, 12.0, 24.0]
    assert loads_A == sorted(loads_A)
    assert loads_A[0] == 0.0
    assert isinstance(last, PowerDown)
    points = demo_setup().fixture.points
    assert (last.measurements[0].point, last.measurements[-1].point) == ("reference", "reference")
    seen = {frozenset((points[one.point].plus, points[one.point].minus)) for one in last.measurements[1:-1]}
    assert seen == {frozenset((point.plus, point.minus)) for point in points.values()}


def test_every_limit_of_the_files_is_measured(procedure: Procedure):
    """Each rail at each load point, each derived limit and each cold check has one measurement with its bounds."""
    limits = demo_setup().limits
    measured = [m for action in (*procedure.gate, *procedure.powered) for m in action.measurements]
    at_loads = {(m.point, m.load_point) for m in measured if m.phase is Phase.LOAD and m.measurand is Measurand.VOLTAGE}
    assert at_loads == {(rail, index) for rail in limits.rails for index in range(load_points(limits))}
    assert {m.name for m in measured} >= set(limits.cold)
    regulated = {m.point for m in measured if m.measurand is Measurand.REGULATION}
    assert regulated == {name for name, rail in limits.rails.items() if rail.regulation}
    assert all(m.limit for m in measured if m.phase is Phase.LOAD and m.measurand is Measurand.VOLTAGE)


def test_names_are_unique(procedure: Procedure):
    """A measurement's name is its key in records and reviews."""
    names = [m.name for action in (*procedure.gate, *procedure.powered) for m in action.measurements]
    assert len(names) == len(set(names))


def test_a_range_holds_what_the_limits_allow(procedure: Procedure):
    """No reading that could pass is over range."""
    for action in (*procedure.gate, *procedure.powered):
        for m in action.measurements:
            if m.limit is not None and m.range:
                known = [bound for bound in (m.limit.lower, m.limit.upper) if bound is not None]
                assert all(abs(bound) <= m.range for bound in known), m.name


def test_limits_of_the_supply_are_at_most_twice_what_the_board_draws(procedure: Procedure):
    """A step's own current limit is double the expected current, so that a fault is fed no more than that."""
    for action in procedure.powered:
        if isinstance(action, SoftStart | ApplyLoads):
            (current,) = [m for m in action.measurements if m.measurand is Measurand.CURRENT]
            assert action.limit_A == pytest.approx(2 * (current.expected or 0.0))


def test_boards_drawn_from_the_tolerances_stay_inside_the_soft_start_windows():
    """Of 500 other boards none trips a window: the windows are wide enough for healthy boards."""
    nominal = Nominal.of(demo_setup())
    values = draw_values(nominal.assembly, [f"other {number}" for number in range(500)])
    for step in steps(nominal):
        solution = nominal.model.powered(values, step.volts, nominal.largest_A, {})
        assert _inside(solution.source_A("supply"), step.current)
        for rail, (_, window) in step.rails.items():
            assert _inside(solution.between(*nominal.terminals(rail)), window), rail


def _inside(values: object, window: Limit) -> bool:
    assert window.lower is not None
    assert window.upper is not None
    return bool((window.lower < values).all() and (values < window.upper).all())  # type: ignore[operator, union-attr]


@pytest.mark.parametrize(
    ("entry", "nominal", "expected"),
    [
        pytest.param({"within": "2 %"}, "5", (4.9, 5.1), id="share"),
        pytest.param({"within": "10 %"}, "-2.4", (-2.64, -2.16), id="share-of-a-negative-rail"),
        pytest.param({"lower": "4.85 V"}, "5", (4.85, None), id="lower-only"),
        pytest.param({"lower": "-2.9 V", "upper": "-1.9 V"}, "-2.4", (-2.9, -1.9), id="both"),
    ],
)
def test_bounds_of_a_load_point_are_exact(entry: dict[str, str], nominal: str, expected: tuple[float, float | None]):
    """What is written in decimals is what is judged by, to the last digit."""
    rail = RailLimit.model_validate({"nominal": f"{nominal} V", "source": "data sheet", "at": [entry]})
    limit = bounds(rail, 0)
    assert (limit.lower, limit.upper, limit.source) == (*expected, "data sheet")


def test_a_rail_with_one_entry_holds_at_every_load_point():
    """A rail without a load of its own is read at every load point against the same bounds."""
    setup = demo_setup()
    feed = RailLimit.model_validate({"nominal": "24 V", "source": "host", "at": [{"within": "2 %"}]})
    limits = setup.limits.model_copy(update={"rails": {**setup.limits.rails, "feed": feed}})
    derived = derive(replace(setup, limits=limits))
    read = [m for action in derived.powered for m in action.measurements if m.point == "feed" and m.phase is Phase.LOAD]
    assert [m.limit and (m.limit.lower, m.limit.upper) for m in read] == [(23.52, 24.48)] * 3


def test_the_time_of_a_board_is_the_sum_of_its_actions(procedure: Procedure):
    """What `check` prints adds up, and every action but computing takes some time."""
    actions = (*procedure.gate, *procedure.powered)
    assert procedure.seconds == pytest.approx(sum(action.seconds for action in actions))
    assert all(action.seconds > 0 for action in actions if action.title != "regulation and output resistance")
