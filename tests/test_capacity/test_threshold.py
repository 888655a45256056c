"""The threshold current of a fuse from its heat, against fuses of a known law of resistance."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.capacity.model import Tripped, Warm
from batchtest.capacity.threshold import threshold

SUPPLY_V = 12.0


def fuse_at_rest(switch_C, ambient_C, per_kelvin, width_K):
    """Temperatures' heat and resistance of a fuse whose resistance rises by four decades about its switch."""
    degrees = np.linspace(ambient_C, switch_C + 6 * width_K, 60_001)[1:]
    molten = 1 / (1 + np.exp(np.clip((switch_C - degrees) / width_K, None, 500)))
    return 0.006 * (degrees - ambient_C), 2.5 * (1 + per_kelvin * (degrees - 20)) * 10 ** (4 * molten)


@settings(max_examples=40)
@given(
    switch_C=st.floats(105, 130),
    ambient_C=st.floats(10, 30),
    per_kelvin=st.floats(0.001, 0.005),
    width_K=st.floats(2.5, 4.0),
)
def test_the_true_threshold_lies_in_the_interval(switch_C, ambient_C, per_kelvin, width_K):
    """Whatever its switch temperature, slope and steepness: the largest current at rest is inside, and not far off."""
    heat_W, ohm = fuse_at_rest(switch_C, ambient_C, per_kelvin, width_K)
    amperes = np.sqrt(heat_W / ohm)
    knee = int(amperes.argmax())
    warm = [_warm(amperes, ohm, knee, share * amperes[knee]) for share in (0.05, 0.6)]
    at = knee + int(np.abs(heat_W[knee:] - SUPPLY_V**2 / ohm[knee:]).argmin())
    found = threshold(warm, Tripped(voltage_V=SUPPLY_V, current_A=float(SUPPLY_V / ohm[at])))
    assert found.lower <= amperes[knee] <= found.upper
    assert found.value == pytest.approx(amperes[knee], rel=0.15)
    assert found.upper - found.lower < 0.3 * found.value


def _warm(amperes, ohm, knee, wanted_A):
    at = int(np.argmax(amperes[:knee] >= wanted_A))
    return Warm(current_A=float(amperes[at]), ohm=float(ohm[at]))


def test_one_warm_point_is_not_enough():
    """From one point nobody knows how the resistance rises on the way."""
    with pytest.raises(ValueError, match="a line needs two different x"):
        threshold([Warm(current_A=0.1, ohm=2.5)], Tripped(voltage_V=12.0, current_A=0.05))
