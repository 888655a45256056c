"""The accuracy table: ranges by name and by value, half-widths with temperature."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import SetupError
from batchtest.judging.accuracy import half_width, pick_range, row_for
from test_judging.tables import amperes, ohms, volts

ROWS = (volts(range="100 mV"), volts(range="1 V"), volts(range="10 V"), volts(range="100 V"))
WARM = {"temperature": {"reading": "0.001 %/K", "of_range": "0.0001 %/K"}}


def test_a_row_is_found_by_its_range():
    """The row that was used is the one whose range was set."""
    assert ROWS[2] is row_for(ROWS, 10.0)


@pytest.mark.parametrize(
    ("rows", "range_", "message"),
    [
        pytest.param(
            ROWS, 2.0, r"the range 2\.000 V; known ranges: 100\.0 mV, 1\.000 V, 10\.00 V, 100\.0 V", id="volts"
        ),
        pytest.param((amperes(),), 0.5, r"500\.0 mA; known ranges: 3\.000 A", id="amperes"),
        pytest.param((ohms(),), 1e5, r"100\.0 kohm; known ranges: 1\.000 kohm", id="ohms"),
        pytest.param((), 1.0, "the table is empty", id="no-rows"),
    ],
)
def test_an_unknown_range_names_the_known_ones(rows, range_, message):
    """Who asks for a range that is not in the table is told which are."""
    with pytest.raises(SetupError, match=message):
        row_for(rows, range_)


@pytest.mark.parametrize(
    ("value", "range_"),
    [
        pytest.param(0.0, 0.1, id="zero"),
        pytest.param(0.1, 0.1, id="exactly-full-scale"),
        pytest.param(0.1001, 1.0, id="just-above"),
        pytest.param(-12.0, 100.0, id="negative"),
    ],
)
def test_the_smallest_range_that_holds_a_value_is_picked(value, range_):
    """A range holds its full scale; the sign does not matter; the order of the rows does not either."""
    assert range_ == pick_range(ROWS, value)
    assert range_ == pick_range(ROWS[::-1], value)


def test_a_value_beyond_every_range_is_refused():
    """No range is invented for a value that none holds."""
    with pytest.raises(SetupError, match=r"no range holds 101\.0 V; known ranges: 100\.0 mV"):
        pick_range(ROWS, 101.0)


@pytest.mark.parametrize(
    ("ambient_C", "expected"),
    [
        pytest.param(23.0, 0.0007, id="at-calibration"),
        pytest.param(28.0, 0.0007, id="five-kelvin-above"),
        pytest.param(18.0, 0.0007, id="five-kelvin-below"),
        pytest.param(30.0, 0.0007 + 2 * (5e-5 + 1e-5), id="two-kelvin-beyond"),
        pytest.param(15.0, 0.0007 + 3 * (5e-5 + 1e-5), id="three-kelvin-beyond-below"),
    ],
)
def test_temperature_adds_for_each_kelvin_beyond_five(ambient_C, expected):
    """5 V on the 10 V range: 0.01 % of 5 V and 0.002 % of 10 V, and the coefficient only outside +-5 C.

    Common practice, no source.
    """
    assert expected == pytest.approx(half_width(volts(**WARM), 5.0, ambient_C, 23.0), rel=1e-12)


@given(value=st.floats(-10, 10), ambient_C=st.floats(0, 50))
def test_the_half_width_depends_on_magnitude_alone(value, ambient_C):
    """A negative rail is known as well as a positive one, and never better than its range allows."""
    row = volts(**WARM)
    assert half_width(row, value, ambient_C, 23.0) == half_width(row, -value, ambient_C, 23.0) >= 0.0002
