"""Replies are read strictly: what is no answer to the question is refused."""

from __future__ import annotations

import math
import tomllib
from contextlib import suppress
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.bench.replies import (
    parse_channels,
    parse_number,
    parse_numbers,
    parse_state,
    parse_string,
    parse_whole,
)
from batchtest.errors import InstrumentReplyError


@pytest.mark.parametrize(
    ("text", "value"),
    [
        pytest.param("+1.2E+00", 1.2, id="NR3"),
        pytest.param("5", 5.0, id="NR1"),
        pytest.param("-3.4", -3.4, id="NR2"),
        pytest.param("273", 273.0, id="NR1-three-digits"),
        pytest.param("2.73E+2", 273.0, id="NR3-short-exponent"),
        pytest.param(".5", 0.5, id="bare-point"),
        pytest.param("5.", 5.0, id="trailing-point"),
        pytest.param(" 1.5 ", 1.5, id="blanks-around"),
        pytest.param("1e-3", 1e-3, id="small-e"),
    ],
)
def test_legal_numbers_are_read(text: str, value: float) -> None:
    """NR1, NR2 and NR3 (IEEE 488.2 8.7.2 to 8.7.4) are numbers."""
    assert parse_number(text) == value


@pytest.mark.parametrize(
    "text",
    ["", " ", "1,5", "1.2.3", "1.2E", "0x10", "nano", "inf", "1 2", "1.5 V", "--1", "1_000", "٣", "1.2\x00", "ON"],
)
def test_what_is_no_number_is_refused(text: str) -> None:
    """Nothing is guessed out of a reply that is not one number, whole."""
    with pytest.raises(InstrumentReplyError, match="is not a number"):
        parse_number(text)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        pytest.param("9.9E37", math.inf, id="infinity"),
        pytest.param("+9.90000000E+37", math.inf, id="infinity-long"),
        pytest.param("-9.9E37", -math.inf, id="minus-infinity"),
        pytest.param("9.8E+37", math.inf, id="coarse"),
        pytest.param("1E+38", math.nan, id="beyond"),
        pytest.param("9.91E37", math.nan, id="not-a-number"),
        pytest.param("+9.91000000E+37", math.nan, id="not-a-number-long"),
        pytest.param("nan", math.nan, id="not-a-number-word"),
        pytest.param("OL", math.inf, id="text"),
        pytest.param("", math.inf, id="declared-empty"),
    ],
)
def test_over_range_is_no_value(text: str, value: float) -> None:
    """SCPI's stand-ins, and the texts that a dialect declares, never become a reading."""
    read = parse_number(text, over_range=("OL", ""))
    assert math.isnan(read) if math.isnan(value) else read == value


def test_special_values_are_those_of_the_standard() -> None:
    """The published stand-ins mean what SCPI-99 says (vol. 1, 7.2.1.4 and 7.2.1.5, as in the reference file)."""
    meanings = {"INF": math.inf, "NINF": -math.inf}
    case = _reference_case("special-values")
    for sample, meaning in zip(case["inputs"]["samples"], case["expected"]["meaning"], strict=True):
        read = parse_number(sample)
        assert math.isnan(read) if meaning == "NAN" else read == meanings[meaning]


def _reference_case(name: str) -> dict[str, Any]:
    path = Path(__file__).parents[1] / "reference" / "06_scpi_488.toml"
    cases: list[dict[str, Any]] = tomllib.loads(path.read_text())["case"]
    return next(case for case in cases if case["id"] == name)


def test_declared_units_are_dropped_and_others_refused() -> None:
    """A unit counts only where the dialect says that this instrument sends it."""
    assert parse_number("0.6 A", units=("A", "V")) == 0.6
    with pytest.raises(InstrumentReplyError, match="not a number"):
        parse_number("0.6A", units=("V",))


@given(st.floats(min_value=-1e37, max_value=1e37))
def test_numbers_survive_the_wire(value: float) -> None:
    """What an instrument writes with all digits is what is read."""
    assert parse_number(f"{value:+.17E}") == value


@given(st.text(max_size=12))
def test_any_text_is_a_number_or_refused(text: str) -> None:
    """No text at all makes anything but a number or InstrumentReplyError."""
    with suppress(InstrumentReplyError):
        assert isinstance(parse_number(text), float)


def test_values_must_be_as_many_as_asked_for() -> None:
    """A reply with a value too many or too few belongs to another question."""
    assert parse_numbers("+1.0E+00,2", 2) == (1.0, 2.0)
    with pytest.raises(InstrumentReplyError, match="has 2 values, 3 were asked for"):
        parse_numbers("1,2", 3)


@pytest.mark.parametrize("text", ["-1", "1.5", "9.9E37", "1e400", "x"])
def test_a_status_word_is_whole(text: str) -> None:
    """A status word is a whole number that is not negative."""
    assert parse_whole("+2.56E+02") == 256
    with pytest.raises(InstrumentReplyError, match="is not a"):
        parse_whole(text)


def test_silence_is_neither_on_nor_off() -> None:
    """Only the known words say on or off."""
    on, off = ("1", "ON"), ("0", "OFF")
    assert parse_state("on", on, off)
    assert not parse_state("0", on, off)
    with pytest.raises(InstrumentReplyError, match=r"'' is neither on \(1, ON\) nor off"):
        parse_state("", on, off)


def test_channel_lists_are_those_of_the_standard() -> None:
    """Channel lists are read as SCPI-99 has them (vol. 1, 8.3.2, as in the reference file)."""
    case = _reference_case("channel-list-a")
    for sample, channels in zip(case["inputs"]["samples"], case["expected"]["channels"], strict=True):
        if isinstance(channels, list):
            assert sorted(parse_channels(sample)) == channels
        else:
            with pytest.raises(InstrumentReplyError, match="is not a channel list"):
                parse_channels(sample)


@pytest.mark.parametrize("text", ["", "101", "(@1:2:3)", "(@a)", "(@1", "(@1 2)", "(@:)"])
def test_what_is_no_channel_list_is_refused(text: str) -> None:
    """Half a list is no list."""
    assert parse_channels("(@)") == frozenset()
    with pytest.raises(InstrumentReplyError, match="is not a channel list"):
        parse_channels(text)


@given(st.text(st.characters(min_codepoint=32, max_codepoint=126)))
def test_strings_survive_quoting(text: str) -> None:
    """A quoted string is what was quoted, quotes in it doubled."""
    assert parse_string('"' + text.replace('"', '""') + '"') == text


@pytest.mark.parametrize("text", ["", '"', 'VN-1"', "VN-1", '"a"b"', "'a\""])
def test_what_is_no_string_is_refused(text: str) -> None:
    """A serial without its quotes may be cut."""
    with pytest.raises(InstrumentReplyError, match="is not a quoted string"):
        parse_string(text)


@given(st.floats(-1e30, 1e30))
def test_a_decimal_comma_is_a_decimal_point(value: float) -> None:
    """The same number either way; a dot beside it is none."""
    text = f"{value:.8E}"
    assert parse_number(text.replace(".", ","), decimal=",") == parse_number(text)
    with pytest.raises(InstrumentReplyError, match="is not a number"):
        parse_number(text, decimal=",")


@pytest.mark.parametrize(
    ("text", "separator", "values"),
    [("1;2,5;-1", ";", (1.0, 2.5, math.inf)), ("1 2,5   -1", " ", (1.0, 2.5, math.inf))],
    ids=["semicolons", "blanks"],
)
def test_values_are_joined_as_the_dialect_says(text: str, separator: str, values: tuple[float, ...]) -> None:
    """A decimal comma does not part them, and a text for over range is one of them."""
    assert parse_numbers(text, 3, over_range=["-1"], decimal=",", separator=separator) == values


def test_an_empty_value_is_over_range_only_where_the_dialect_says_so() -> None:
    """Else it is no number."""
    assert parse_numbers("1.5,", 2, over_range=[""]) == (1.5, math.inf)
    with pytest.raises(InstrumentReplyError, match="is not a number"):
        parse_numbers("1.5,", 2)


def test_a_plain_list_of_channels_has_no_brackets() -> None:
    """A lone comma is none of them; brackets are another dialect's."""
    assert parse_channels("101,131", brackets=False) == {101, 131}
    assert parse_channels(",", brackets=False) == frozenset()
    with pytest.raises(InstrumentReplyError, match="is not a channel list"):
        parse_channels("(@101)", brackets=False)
