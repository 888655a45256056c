"""File names of attempts: made from safe names only, and read back."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import SetupError
from batchtest.files.fields import NAME_PATTERN
from batchtest.records.names import CSV, METADATA, PART, AttemptName, attempt_files, checked_name


@pytest.mark.parametrize("name", ["VN-0001", "a", "0", "spring.2026_b-1", "x" * 64, "console", "com10"])
def test_a_safe_name_is_taken_as_it_is(name):
    """What cannot be mistaken by a disk or a shell is used unchanged."""
    assert name == checked_name(name, "serial")


@pytest.mark.parametrize(
    "name",
    [
        pytest.param("../x", id="way-up"),
        pytest.param("a/b", id="slash"),
        pytest.param("a\\b", id="backslash"),
        pytest.param("a b", id="space"),
        pytest.param("=1+1", id="formula"),
        pytest.param("", id="empty"),
        pytest.param(".hidden", id="leading-dot"),
        pytest.param("-rf", id="leading-dash"),
        pytest.param("VN-1.", id="trailing-dot"),
        pytest.param("VN-1\n", id="line-end"),
        pytest.param("VN:1", id="colon"),
        pytest.param("V\u00dc-1", id="umlaut"),
        pytest.param("VN-\U0001f331", id="emoji"),
        pytest.param("VN-\u0661", id="digit-of-another-script"),
        pytest.param("a\x00b", id="nul"),
        pytest.param("x" * 65, id="too-long"),
    ],
)
def test_an_unsafe_name_is_refused(name):
    """Nothing is mended: a name with anything else in it is refused with what may stand there."""
    with pytest.raises(SetupError, match=r"serial .* cannot be a file name; use 1 to 64 letters, digits"):
        checked_name(name, "serial")


@pytest.mark.parametrize("name", ["CON", "con", "nul", "Aux.1", "COM1", "lpt9.old"])
def test_a_device_of_some_computers_is_refused(name):
    """A record that one computer can hold and another cannot does not stand up years later."""
    with pytest.raises(SetupError, match=f"batch '{re.escape(name)}' is kept for devices"):
        checked_name(name, "batch")


def test_a_very_long_name_is_shown_cut():
    """A message stays readable whatever was typed."""
    with pytest.raises(SetupError, match=r"'x{80}\.\.\. \(300 characters\)'"):
        checked_name("x" * 300, "serial")


@given(serial=st.from_regex(NAME_PATTERN, fullmatch=True), number=st.integers(1, 10**6))
@pytest.mark.parametrize("ending", [CSV, PART, METADATA])
def test_a_file_name_reads_back_as_its_attempt(serial, number, ending):
    """Serials may hold dots and digits and even an ending; the attempt is still the last number."""
    name = AttemptName(serial, number)
    assert (name, ending) == AttemptName.of(name.path(Path("folder"), ending))


@pytest.mark.parametrize("file", ["batch.json", "VN-1.0.csv", "VN-1.01.csv", ".csv", "VN-1.csv", "VN-1.1.html"])
def test_other_files_are_no_attempts(file):
    """What else lies in a batch's folder is left alone."""
    assert AttemptName.of(Path(file)) is None


def test_the_attempts_of_a_folder_are_found(tmp_path):
    """Every file of an attempt is named with its ending, and nothing else is."""
    for file in ("VN-1.1.csv", "VN-1.2.csv.part", "batch.html"):
        (tmp_path / file).touch()
    assert {(AttemptName("VN-1", 1), CSV), (AttemptName("VN-1", 2), PART)} == set(attempt_files(tmp_path))
