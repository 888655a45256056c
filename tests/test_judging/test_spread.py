"""The pooled spread of single raw values."""

from __future__ import annotations

import math
import statistics

import numpy as np
import pytest

from batchtest.judging.spread import ENOUGH_DOF, PooledSpread, SpreadKey

KEY = SpreadKey("volts_dc", 10.0, 1.0)
QUIET = [4.999, 5.0, 5.001]


def filled(sets: int = 20, sigma: float = 1e-3, seed: int = 5) -> PooledSpread:
    """A pool that was fed sets of three."""
    pooled, rng = PooledSpread(), np.random.default_rng(seed)
    for level in rng.uniform(1, 9, sets):
        pooled.of(KEY, list(level + rng.normal(0, sigma, 3)), noise=0.0)
    return pooled


def test_sets_of_different_rails_share_one_spread():
    """What is pooled is the scatter about each set's own mean, whatever the rail's voltage."""
    sets = [[1.0, 1.2], [5.0, 5.3, 5.1], [9.0, 9.1, 9.3, 9.2]] * 2
    pooled = PooledSpread()
    found = [pooled.of(KEY, values, noise=0.0) for values in sets][-1]
    squares = sum(statistics.variance(values) * (len(values) - 1) for values in sets)
    assert pooled.dof(KEY) == 12
    assert found == pytest.approx(math.sqrt(squares / 12))


def test_the_data_sheet_stands_until_there_is_enough():
    """Below ten degrees of freedom the data sheet's noise is credited, however quiet the first sets are."""
    pooled = PooledSpread()
    found = [pooled.of(KEY, QUIET, noise=0.005) for _ in range(ENOUGH_DOF // 2)]
    assert found[:4] == [0.005] * 4
    assert found[4] == pytest.approx(0.001)


def test_a_worse_scatter_than_the_data_sheets_counts_at_once():
    """A noisy start is not hidden behind a fine data sheet."""
    assert PooledSpread().of(KEY, QUIET, noise=1e-6) == pytest.approx(0.001)


def test_ranges_and_integration_times_are_kept_apart():
    """Noise of one range or integration time says nothing about another."""
    pooled = filled()
    other = SpreadKey("volts_dc", 10.0, 0.1)
    assert pooled.of(other, QUIET, noise=0.02) == 0.02
    assert (pooled.dof(KEY), pooled.dof(other)) == (40, 2)
    assert pooled.dof(SpreadKey("ohms", 10.0, 1.0)) == 0


def test_a_single_value_takes_the_spread_of_the_pool():
    """One raw value has no scatter of its own; it is credited with what is known."""
    pooled = filled()
    assert pooled.of(KEY, [5.0], noise=0.0) == pytest.approx(0.001, rel=0.3)
    assert PooledSpread().of(KEY, [5.0], noise=0.002) == 0.002


def test_an_unrestful_rail_keeps_its_own_spread():
    """A rail that swings far beyond the meter's noise is not credited with it, and does not spoil it for the others."""
    pooled = filled()
    before = pooled.of(KEY, [5.0], noise=0.0)
    assert pooled.of(KEY, [4.9, 5.0, 5.1], noise=0.0) == pytest.approx(0.1)
    assert pooled.of(KEY, [5.0], noise=0.0) == before


def test_the_pooled_spread_comes_near_the_true_one():
    """With 400 degrees of freedom the pooled spread is within a tenth of the noise that was put in."""
    assert filled(sets=200, sigma=2e-3).of(KEY, [5.0], noise=1.0) == pytest.approx(2e-3, rel=0.1)
