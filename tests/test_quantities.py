"""Quantities: read strictly, written exactly, shown with a prefix."""

from __future__ import annotations

import datetime
from contextlib import suppress
from decimal import Decimal
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.quantities import EXAMPLES, UNITS, as_found, parse, show, write

WRITTEN = [(base, name) for base, names in UNITS.items() for name in names]


@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("4.75 V", "V", "4.75"),
        ("-12V", "V", "-12"),
        ("+1 mV", "V", "0.001"),
        ("250 mA", "A", "0.25"),
        ("4.7 kohm", "ohm", "4700"),
        ("1 Mohm", "ohm", "1000000"),
        ("80 mohm/m", "ohm/m", "0.08"),
        ("7 d", "s", "604800"),
        ("2 min", "s", "120"),
        ("0.0035 %", "%", "0.000035"),
        ("5 ppm/K", "%/K", "0.000005"),
        ("-5 C", "C", "-5"),
        ("007 mm", "m", "0.007"),
    ],
)
def test_a_quantity_is_read_into_the_base_unit(text: str, unit: str, value: str) -> None:
    """Prefixes, percentages and days come out exact."""
    assert parse(text, unit) == Decimal(value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        pytest.param(4.75, r"^needs a value with its unit as a string, such as '4\.75 V', got 4\.75$", id="number"),
        pytest.param(True, r"got true$", id="boolean"),
        pytest.param(None, r"got None$", id="nothing"),
        pytest.param({"lower": 1}, r"got a table$", id="table"),
        pytest.param(
            "4,75 V", r"^has a comma; write the decimal point as a dot, such as '4\.75 V', got '4,75 V'$", id="comma"
        ),
        pytest.param("1,000 V", r"^has a comma", id="thousands"),
        pytest.param("5", r"^has no unit; write it such as '4\.75 V', got '5'$", id="no-unit"),
        pytest.param("5 ", r"^is not a number and a unit; write it such as '4\.75 V', got '5 '$", id="blank-unit"),
        pytest.param("V", r"^is not a number and a unit", id="no-number"),
        pytest.param("", r"^is not a number and a unit", id="empty"),
        pytest.param(".5 V", r"^is not a number and a unit", id="no-digit-before-the-dot"),
        pytest.param("1e3 V", r"^is not a number and a unit", id="exponent"),
        pytest.param("5  V", r"^is not a number and a unit", id="two-blanks"),
        pytest.param("5 V\n", r"^is not a number and a unit", id="line-end"),
        pytest.param("٥ V", r"^is not a number and a unit", id="other-digits"),
        pytest.param("5 A", r"^has the unit 'A', which is none of V, mV, uV, kV", id="other-unit"),
        pytest.param("5 MV", r"^has the unit 'MV', which is none of", id="wrong-case"),
        pytest.param("5 µV", r"^has the unit 'µV', which is none of", id="other-letter"),
        pytest.param("5 Volt", r"^has the unit 'Volt', which is none of", id="long-name"),
        pytest.param("x" * 99, r"got 'x{56}\.\.\.$", id="long-text"),
    ],
)
def test_what_is_no_quantity_says_what_to_write(text: object, says: str) -> None:
    """Each slip is told apart, with the value and the cure."""
    with pytest.raises(ValueError, match=says):
        parse(text, "V")


@pytest.mark.parametrize(
    ("value", "unit", "digits", "shown"),
    [
        (0.0512, "A", 4, "51.20 mA"),
        (-0.0512, "A", 3, "-51.2 mA"),
        (4.98123, "V", 6, "4.98123 V"),
        (999.96, "V", 4, "1.000 kV"),
        (999.94, "V", 4, "999.9 V"),
        (1000, "ohm", 4, "1.000 kohm"),
        (2.2e9, "ohm", 2, "2.2 Gohm"),
        (1e-12, "A", 2, "0.0010 nA"),
        (0, "V", 4, "0.000 V"),
        (1, "V", 4, "1.000 V"),
        (1, "A", 2, "1.0 A"),
        (-0.0, "V", 4, "0.000 V"),
        (0.02, "%", 4, "2.000 %"),
        (0.09996, "%", 3, "10.0 %"),
        (0.00002, "%/K", 2, "0.0020 %/K"),
        (23.04, "C", 3, "23.0 C"),
        (1500, "m", 4, "1500 m"),
        (0.25, "s", 3, "250 ms"),
        (4000, "s", 4, "4000 s"),
        (Decimal("0.3"), "1", 2, "0.30 1"),
        (None, "V", 4, "no reading"),
        (float("nan"), "V", 4, "no reading"),
        (float("inf"), "V", 4, "no reading"),
    ],
)
def test_a_value_is_shown_with_the_prefix_that_suits(value: Any, unit: str, digits: int, shown: str) -> None:
    """Significant digits and prefixes hold at their edges, and no reading is never a number."""
    assert show(value, unit, digits) == shown


@pytest.mark.parametrize(
    ("value", "unit", "written"),
    [
        ("0.040", "A", "40 mA"),
        ("5.60", "V", "5.6 V"),
        ("1", "V", "1 V"),
        ("1000", "ohm", "1 kohm"),
        ("-2.4", "V", "-2.4 V"),
        ("0", "ohm", "0 ohm"),
        ("120", "s", "2 min"),
        ("100", "s", "100 s"),
        ("0.0005", "%", "0.05 %"),
        ("0.000005", "%", "5 ppm"),
        ("0.0000005", "V", "0.0000005 V"),
        ("1000000000", "ohm", "1000000000 ohm"),
    ],
)
def test_a_value_is_written_as_a_person_would(value: str, unit: str, written: str) -> None:
    """Messages give values in the form in which they belong in the file."""
    assert write(Decimal(value), unit) == written


@pytest.mark.parametrize(
    ("value", "shown"),
    [
        pytest.param("x", "'x'", id="text"),
        pytest.param(False, "false", id="boolean"),
        pytest.param(1.5, "1.5", id="number"),
        pytest.param([1], "a list", id="list"),
        pytest.param({}, "a table", id="table"),
        pytest.param(datetime.date(2026, 3, 2), "2026-03-02", id="day"),
        pytest.param(datetime.datetime(2026, 3, 2, 7, 32), "2026-03-02T07:32:00", id="moment"),
        pytest.param(datetime.time(7, 32), "07:32:00", id="time"),
    ],
)
def test_what_was_found_is_quoted_as_it_stands_in_the_file(value: object, shown: str) -> None:
    """A message shows the person's own text, not the program's view of it."""
    assert as_found(value) == shown


def test_every_base_unit_has_an_example_that_is_right() -> None:
    """The cure in a message can be copied as it is."""
    assert EXAMPLES.keys() == UNITS.keys()
    assert all(parse(example, unit) > 0 for unit, example in EXAMPLES.items())


@given(st.sampled_from(WRITTEN), st.decimals("-9999", "9999", places=4))
def test_what_is_written_is_read_back_exactly(unit: tuple[str, str], number: Decimal) -> None:
    """`write` and `parse` are each other's inverse."""
    value = parse(f"{number:f} {unit[1]}", unit[0])
    assert parse(write(value, unit[0]), unit[0]) == value


@given(
    st.sampled_from(["V", "A", "ohm", "W", "Hz", "%", "%/K", "C", "m", "s"]), st.floats(1e-3, 999), st.integers(2, 7)
)
def test_what_is_shown_is_read_back_to_its_digits(unit: str, value: float, digits: int) -> None:
    """A shown value is off by half of its last digit at most."""
    text = show(value, unit, digits)
    if text.split()[1] in UNITS[unit]:
        assert float(parse(text, unit)) == pytest.approx(value, rel=0.51 * 10.0 ** (1 - digits))


@given(st.sampled_from(sorted(UNITS)), st.from_regex(r"[+-]?[0-9]{1,9}(\.[0-9]{1,9})?", fullmatch=True))
def test_a_bare_number_is_never_a_quantity(unit: str, number: str) -> None:
    """A value without its unit is refused, whatever unit is asked for."""
    with pytest.raises(ValueError, match="has no unit"):
        parse(number, unit)


@given(st.sampled_from(WRITTEN), st.integers(0, 9999), st.integers(0, 999))
def test_a_comma_is_never_read(unit: tuple[str, str], whole: int, part: int) -> None:
    """ "4,75 V" is neither 475 V nor 4.75 V."""
    with pytest.raises(ValueError, match="has a comma"):
        parse(f"{whole},{part} {unit[1]}", unit[0])


@given(st.sampled_from(WRITTEN), st.integers(0, 9999))
def test_a_unit_in_the_wrong_case_is_never_read(unit: tuple[str, str], number: int) -> None:
    """ "250 MA" is not 250 mA, unless the other case is a unit of its own (mohm, Mohm)."""
    base, name = unit
    if name.swapcase() not in UNITS[base] and name.swapcase() != name:
        with pytest.raises(ValueError, match="which is none of"):
            parse(f"{number} {name.swapcase()}", base)


@given(st.text(max_size=12), st.sampled_from(sorted(UNITS)))
def test_any_text_is_a_quantity_or_a_value_error(text: str, unit: str) -> None:
    """No text makes the reader fail in any other way, and what it takes is finite."""
    with suppress(ValueError):
        assert parse(text, unit).is_finite()
