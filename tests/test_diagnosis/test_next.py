"""What to measure next: what a reading is worth, against cases that can be counted."""

from __future__ import annotations

import numpy as np
import pytest

from batchtest.diagnosis.next import _bits


def bits(
    expected: list[float], sigma: float = 1.0, over: list[float] | None = None, labels: list[int] | None = None
) -> float:
    """What one place is worth between hypotheses that are equally likely."""
    count = len(expected)
    shares = np.zeros((count, 1)) if over is None else np.array(over)[:, None]
    chances = np.full(count, 1 / count)
    numbers = np.arange(count) if labels is None else np.array(labels)
    return float(_bits(np.array(expected)[:, None], np.full((count, 1), sigma), shares, chances, numbers)[0])


@pytest.mark.parametrize(
    ("expected", "worth"),
    [
        pytest.param([0.0, 0.0], 0.0, id="alike"),
        pytest.param([0.0, 50.0], 1.0, id="two-far-apart"),
        pytest.param([0.0, 50.0, 100.0, 150.0], 2.0, id="four-far-apart"),
        pytest.param([0.0, 0.0, 50.0, 50.0], 1.0, id="two-pairs"),
    ],
)
def test_a_reading_is_worth_the_logarithm_of_what_it_tells_apart(expected: list[float], worth: float):
    """Bits, as Shannon counts them."""
    assert bits(expected) == pytest.approx(worth, abs=1e-6)


def test_half_told_is_half_worth_by_numeric_integration():
    """Two normal laws two standard deviations apart: the mutual information by a fine sum."""
    grid = np.linspace(-10, 12, 20001)
    one, other = (np.exp(-0.5 * (grid - mean) ** 2) / np.sqrt(2 * np.pi) for mean in (0.0, 2.0))
    mixed = (one + other) / 2
    exact = sum((density * np.log2(density / mixed)).sum() / 2 for density in (one, other)) * (grid[1] - grid[0])
    assert bits([0.0, 2.0]) == pytest.approx(exact, abs=0.05)


def test_over_range_tells_as_well_as_a_value():
    """Open with the one, a value with the other: one bit."""
    assert bits([0.0, 0.0], over=[1.0, 0.0]) == pytest.approx(1.0, abs=1e-6)
    assert bits([0.0, 0.0], over=[0.5, 0.5]) == pytest.approx(0.0, abs=1e-6)


def test_telling_two_of_one_part_apart_is_worth_nothing():
    """The part is changed either way."""
    assert bits([0.0, 50.0], labels=[0, 0]) == pytest.approx(0.0, abs=1e-6)
