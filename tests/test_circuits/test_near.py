"""Samples near a solved one, by one step of the solver: right to first order."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.circuits import draw_values, nominal_values
from batchtest.errors import SetupError

from .demo import bench_model

#: Standard deviation over tolerance of parts that lie a little off.
SPREAD = 3e-4


@pytest.fixture(scope="module")
def near() -> np.ndarray:
    """A nominal board, and one whose parts all lie a little off."""
    model = bench_model()
    nominal = nominal_values(model.assembly)
    return np.concatenate([nominal, draw_values(model.assembly, ["near"], seed=77, spread=SPREAD)])


def test_a_powered_board_a_little_off_is_found_in_one_step(near: np.ndarray):
    """Its rails move as they do when it is solved to the end, to a hundredth of the move."""
    model = bench_model()
    first = model.powered(near[:1], 24.0, 1.0, {1: 0.02})
    whole = model.powered(near[1:], 24.0, 1.0, {1: 0.02})
    stepped = model.powered_near(first, near[1:], 24.0, 1.0, {1: 0.02})
    moved = float((whole.between("TP4", "TP1") - first.between("TP4", "TP1"))[0])
    found = float((stepped.between("TP4", "TP1") - first.between("TP4", "TP1"))[0])
    assert found == pytest.approx(moved, rel=0.01, abs=1e-6)
    assert abs(moved) > 1e-6


def test_a_cold_reading_a_little_off_is_found_in_one_step(near: np.ndarray):
    """Every point at once, those flagged by one step and the first to the end."""
    model = bench_model()
    rows = [(point, 1e-4, 10.0) for point in ("logic", "analog", "core", "bias")]
    whole = model.cold_all(near, rows)
    stepped = model.cold_all(near, rows, stepped=np.array([False, True]))
    assert stepped[:, 0] == pytest.approx(whole[:, 0], abs=1e-7)
    assert stepped[:, 1] - whole[:, 0] == pytest.approx(whole[:, 1] - whole[:, 0], rel=0.02, abs=1e-6)


def test_a_step_begins_where_the_same_sources_are_on(near: np.ndarray):
    """A solution of another state is no place to begin at."""
    model = bench_model()
    first = model.powered(near[:1], 24.0, 1.0, {})
    with pytest.raises(SetupError, match="a step begins at one sample with the same sources on"):
        model.powered_near(first, near[1:], 24.0, 1.0, {1: 0.02})
