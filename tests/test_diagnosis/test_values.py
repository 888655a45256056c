"""Values that a part may have been fitted with instead of its own."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.diagnosis.values import E12, neighbours, wrong_values


def test_the_series_is_every_other_value_of_the_published_one(reference: Callable[[str, str], dict[str, Any]]):
    """E12 is what IEC 60063 prints of E24, every other value."""
    assert tuple(reference("07_parts_and_wire", "e24")["expected"]["E24"][::2]) == E12


@given(value=st.floats(1e-2, 1e7))
def test_neighbours_lie_on_either_side_and_not_on_the_value(value: float):
    """The next below and above are preferred values, neither of them the value itself."""
    below, above = neighbours(value)
    assert below < 0.97 * value < value < 1.03 * value < above
    assert below * 1.9 > value > above / 1.9


@pytest.mark.parametrize(
    ("value", "expected"),
    [
        pytest.param(1000.0, [100.0, 10000.0, 820.0, 1200.0], id="first-of-a-decade"),
        pytest.param(3.9, [0.39, 39.0, 3.3, 4.7], id="below-ten"),
        pytest.param(2400.0, [240.0, 24000.0, 2200.0, 2700.0], id="between-two"),
    ],
)
def test_a_decade_off_and_the_neighbours(value: float, expected: list[float]):
    """A band misread is a tenth or ten times; the wrong drawer is a neighbour."""
    assert list(wrong_values(value)) == pytest.approx(expected)
