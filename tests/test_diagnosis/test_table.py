"""The distribution of every reading with every fault, against boards solved by themselves."""

from __future__ import annotations

import numpy as np
import pytest
from stations import demo_setup, derive_once

from batchtest.circuits import BenchModel, draw_values
from batchtest.diagnosis import FaultTable, Kind, build_table
from batchtest.diagnosis import table as tables
from batchtest.diagnosis.readings import plan_of
from batchtest.diagnosis.solving import JUNCTION_C
from batchtest.errors import NoOperatingPoint

from .tables import AMONG, all_faults, small_solver, small_table

DRAWN = 150


def column(table: FaultTable, name: str) -> int:
    """Place of a column."""
    return [one.name for one in table.columns].index(name)


def row(table: FaultTable, name: str) -> int:
    """Place of a hypothesis."""
    return [one.name for one in table.hypotheses].index(name)


def test_the_columns_are_the_procedures_readings_in_their_order():
    """Cold readings, soft start, load points, derived values, then what a person may read; none comes twice."""
    names = [one.name for one in small_table().columns]
    assert len(set(names)) == len(names)
    order = ["pin map feed", "logic-short", "logic @ 5.00 V in", "logic @ load point 3", "logic output resistance"]
    assert sorted(order, key=names.index) == order
    assert [one.probe for one in small_table().columns] == sorted(one.probe for one in small_table().columns)


def test_the_hypotheses_are_the_faults_and_the_bench():
    """After the circuit's faults: every terminal's needle, every function of an instrument."""
    table = small_table()
    assert tuple(one.name for one in table.hypotheses[: len(AMONG)]) == AMONG
    kinds = {one.kind for one in table.hypotheses[len(AMONG) :]}
    assert kinds == {Kind.CONTACT, Kind.INSTRUMENT}
    ends = {end for point in demo_setup().fixture.points.values() for end in (point.plus, point.minus)}
    assert {one.parts[0] for one in table.hypotheses if one.kind is Kind.CONTACT} == ends


@pytest.mark.parametrize("name", ["good", "R5B is 2.7 kohm", "b12-v12 bridged"])
def test_means_and_spreads_are_those_of_drawn_boards(name: str):
    """Boards drawn from their tolerances, solved one by one, have the table's mean, spread and correlation."""
    table, fault = small_table(), all_faults()[name]
    model = BenchModel.of(fault.assembly, demo_setup().fixture)
    values = np.concatenate(
        [draw_values(fault.assembly, [f"bench {seed}"], seed=810_000 + seed) for seed in range(DRAWN)]
    )
    for index, factor in fault.scales.items():
        values[:, index] *= factor
    solution = model.powered(values, 24.0, 1.0, {}, temperature_C=JUNCTION_C)
    drawn = np.array([solution.between("TP4", "TP1"), solution.between("TP3", "TP1"), solution.source_A("supply")])
    places = [column(table, name) for name in ("analog @ 24.0 V in", "logic @ 24.0 V in", "supply current @ 24.0 V in")]
    parts = len(table.spread[0, 0]) - 2 - 3 - 2  # without temperature, supply, loads, needle and instrument
    slopes = table.spread[row(table, name)][places][:, :parts].astype(float)
    covariance = slopes @ slopes.T
    sigma = np.sqrt(np.diag(covariance))
    assert (np.abs(drawn.mean(axis=1) - table.mean[row(table, name), places]) < 0.35 * sigma).all()
    assert drawn.std(axis=1) == pytest.approx(sigma, rel=0.2)
    assert np.corrcoef(drawn) == pytest.approx(covariance / np.outer(sigma, sigma), abs=0.2)


def test_a_cold_reading_that_a_fault_does_not_move_is_the_good_boards():
    """Slopes are taken over only where that makes no difference: solved in full they are the same."""
    table, solver = small_table(), small_solver()
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr("batchtest.diagnosis.solving.UNMOVED", -1.0)
        alone = solver.solve(all_faults()["R5B is 2.7 kohm"])
    cold = [place for place, one in enumerate(table.columns) if one.state == "cold"]
    known = [place for place in cold if np.isfinite(alone.mean[place])]
    mine = row(table, "R5B is 2.7 kohm")
    sigma = np.linalg.norm(alone.spread[known], axis=1)
    assert (np.abs(table.mean[mine, known] - alone.mean[known]) <= 0.05 * sigma + 1e-6).all()
    assert np.linalg.norm(table.spread[mine, known], axis=1) == pytest.approx(sigma, rel=0.05, abs=1e-6)


def test_over_range_is_a_share_of_boards_and_not_a_value():
    """A wire that is cut reads over range on every board; a good one never does; nothing hangs on a free pin."""
    table = small_table()
    place = column(table, "position-output")
    assert table.over[row(table, "cable: YE is cut"), place] == 1.0
    assert np.isnan(table.mean[row(table, "cable: YE is cut"), place])
    assert table.over[row(table, "good"), place] == 0.0
    assert table.over[row(table, "good"), column(table, "pin map spare")] == 1.0


def test_a_short_behind_the_supply_shows_as_its_limit():
    """A board that draws more than a soft start allows is in the supply's limit; a good one is not."""
    table = small_table()
    assert table.limiting[row(table, "good")] == pytest.approx(0.0)
    assert table.limiting[row(table, "RL5 short"), table.states.index("soft start 12.0 V")] in (0.0, 1.0)


def test_derived_values_follow_from_their_readings():
    """The resistance of a rail is the slope of its own columns, for means and for slopes."""
    table = small_table()
    first, last = (column(table, f"analog @ load point {number}") for number in (1, 3))
    place = column(table, "analog output resistance")
    assert table.mean[:, place] == pytest.approx((table.mean[:, first] - table.mean[:, last]) / 0.04, rel=0.02)


def test_a_fault_without_operating_point_is_not_a_number_and_no_error(monkeypatch: pytest.MonkeyPatch):
    """One fault that the solver cannot settle does not cost the table."""
    solver = small_solver()

    def unsolvable(*_: object, **__: object) -> None:
        raise NoOperatingPoint("no operating point, for this test")

    monkeypatch.setattr(BenchModel, "powered", unsolvable)
    monkeypatch.setattr(BenchModel, "cold_all", unsolvable)
    found = solver.solve(all_faults()["RL5 short"])
    assert np.isnan(found.mean).all()
    assert np.isnan(found.over).all()


def test_processes_of_their_own_find_the_same():
    """Two processes solve what one does; progress is told up to the end."""
    setup, told = demo_setup(), []
    few = [all_faults()[name] for name in ("good", "R5B open")]
    apart = build_table(setup, derive_once(setup), among=few, progress=lambda *both: told.append(both))
    assert told[-1] == (2, 2)
    assert np.array_equal(apart.mean[:2], small_table().mean[[0, AMONG.index("R5B open")]], equal_nan=True)


def test_a_process_of_the_pool_solves_its_share_in_order():
    """The good board that it solved for itself is the first of all."""
    setup = demo_setup()
    few = [all_faults()[name] for name in ("good", "RS12 short")]
    tables._begin(setup, plan_of(setup, derive_once(setup)), few)
    good, short = tables._work(range(2))
    assert np.array_equal(good.mean, small_table().mean[0], equal_nan=True)
    assert np.array_equal(short.mean, small_table().mean[AMONG.index("RS12 short")], equal_nan=True)


def test_one_process_tells_its_progress_too():
    """After each fault."""
    setup, told = demo_setup(), []
    few = [all_faults()[name] for name in ("good", "RS12 short")]
    build_table(setup, derive_once(setup), among=few, workers=1, progress=lambda *both: told.append(both))
    assert told == [(2, 2)]
