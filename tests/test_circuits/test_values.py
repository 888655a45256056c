"""Part values drawn from their tolerances."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.circuits import draw_values, nominal_values

from .demo import joined

SERIALS = [f"VN-{number:04}" for number in range(400)]


@pytest.fixture(scope="module")
def assembly():
    """Nest, lead and vent board."""
    return joined("vent-nest", "vent-lead", "vent")


def column(assembly, part, name="value"):
    """Column of a parameter of a part."""
    pairs = list(zip(assembly.parameters.parts, assembly.parameters.names, strict=True))
    return pairs.index((part, name))


def test_a_serial_always_gets_the_same_parts(assembly):
    """Alone or among others, in any order, a serial's board is the same."""
    together = draw_values(assembly, ["VN-0001", "VN-0002"], seed=7)
    alone = draw_values(assembly, ["VN-0002"], seed=7)
    assert np.array_equal(together[1], alone[0])


def test_another_serial_or_seed_gets_other_parts(assembly):
    """Boards differ, and so do benches."""
    column_R5A = column(assembly, "board.R5A")
    drawn = {draw_values(assembly, [serial], seed=seed)[0, column_R5A] for serial in SERIALS[:3] for seed in (1, 2)}
    assert len(drawn) == 6


def test_the_nest_and_the_cable_stay_the_same_for_all_boards_of_a_seed(assembly):
    """What belongs to the bench depends on its seed only."""
    values = draw_values(assembly, SERIALS[:5], seed=1)
    fixed = [index for index, part in enumerate(assembly.parameters.parts) if not part.startswith("board.")]
    assert (values[:, fixed] == values[0, fixed]).all()
    assert (draw_values(assembly, SERIALS[:1], seed=2)[0, fixed] != values[0, fixed]).any()


def test_parts_keep_within_their_tolerance_and_spread_by_a_third_of_it(assembly):
    """Normal with a third of the tolerance as its standard deviation, cut off at the tolerance."""
    values = draw_values(assembly, SERIALS)
    nominal, tolerance = np.array(assembly.parameters.nominal), np.array(assembly.parameters.tolerance)
    loose = np.flatnonzero(tolerance)
    shares = (values[:, loose] / nominal[loose] - 1) / tolerance[loose]
    assert np.abs(shares).max() <= 1 + 1e-9
    boards = shares[:, [assembly.parameters.parts[index].startswith("board.") for index in loose]]
    assert boards.std() == pytest.approx(0.3288, abs=0.01)
    assert boards.mean() == pytest.approx(0.0, abs=0.01)


def test_parts_without_a_tolerance_are_nominal(assembly):
    """A wire is a wire."""
    values = draw_values(assembly, SERIALS[:3])
    exact = [index for index, tolerance in enumerate(assembly.parameters.tolerance) if tolerance == 0]
    assert np.array_equal(values[:, exact], np.repeat(nominal_values(assembly)[:, exact], 3, axis=0))


def test_a_narrower_spread_keeps_parts_nearer(assembly):
    """The spread is a share of the tolerance."""
    index = column(assembly, "board.DZ12", "BV")
    wide, narrow = (draw_values(assembly, SERIALS, spread=spread)[:, index].std() for spread in (1 / 3, 1 / 30))
    assert narrow == pytest.approx(wide / 10, rel=0.05)


def test_no_boards_are_no_values(assembly):
    """An empty list of serials is no fault."""
    assert draw_values(assembly, []).shape == (0, len(assembly.parameters))
