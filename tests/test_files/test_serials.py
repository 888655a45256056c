"""Patterns of serials: whatever they match can be a file name."""

from __future__ import annotations

import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.files.fields import NAME_PATTERN
from batchtest.files.serials import serial_pattern_faults

PIECES = [
    "A",
    "7",
    "-",
    "_",
    ".",
    r"\.",
    "[0-9]",
    "[A-Z_]",
    "[^a]",
    "[.x]",
    "{2}",
    "{0,2}",
    "?",
    "+",
    "(",
    ")",
    "|",
    "(?:",
]


@pytest.mark.parametrize(
    "pattern",
    ["VN-[0-9]{4}", "(?:VN|VM)-[0-9]{4}", "[A-Z]{2}[0-9]+", r"V\.[0-9]{1,3}", "V(-[0-9]+)?", "B[0-9]{3}[A-Za-z]?"],
)
def test_a_pattern_of_safe_characters_is_right(pattern: str) -> None:
    """The ways in which shops number their boards are all there."""
    assert list(serial_pattern_faults(pattern)) == []


@pytest.mark.parametrize(
    "pattern",
    ["VN.*", "VN/[0-9]", r"VN-\d{4}", r"\w+", "VN [0-9]", "[^A]", "[A-z]", "VN-[0-9]{4}$", "V(?i)n", "Vé", "", ".."],
)
def test_a_pattern_that_could_match_anything_else_is_refused(pattern: str) -> None:
    """A slash, a blank, a letter of another script or a leading dot never becomes part of a file name."""
    assert len(list(serial_pattern_faults(pattern))) == 1


@pytest.mark.parametrize("pattern", ["V?-1", "-1", "_A", "A|-B", "(A|B)?-1", "[._]A", "V{0,1}-", "V*"])
def test_a_pattern_without_a_sure_beginning_is_refused(pattern: str) -> None:
    """What may begin with a dash could be taken for an option, what may be empty is no name."""
    with_fault = list(serial_pattern_faults(pattern))
    assert with_fault == ["must begin with a letter or digit that is always there; write such as VN-[0-9]{4}"]


@pytest.mark.parametrize("pattern", ["VN-[0-9", "V(", "V)", "V{99999999999}", "[[a]", "*"])
def test_a_pattern_that_is_none_is_refused(pattern: str) -> None:
    """A slip in a pattern is a fault of the file, not of the program."""
    assert len(list(serial_pattern_faults(pattern))) == 1


@given(st.lists(st.sampled_from(PIECES), max_size=7).map("".join), st.data())
def test_whatever_a_right_pattern_matches_is_a_safe_name(pattern: str, data: st.DataObject) -> None:
    """No pattern that passes can name a file outside its folder."""
    if not list(serial_pattern_faults(pattern)):
        serial = data.draw(st.from_regex(re.compile(pattern, re.ASCII), fullmatch=True))
        assert re.fullmatch(NAME_PATTERN, serial[:64])
