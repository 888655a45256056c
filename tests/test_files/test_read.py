"""Reading a TOML file as a model: all faults at once, in order, and nothing but a model or faults."""

from __future__ import annotations

import re
from collections.abc import Sequence
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import Fault, FileFaults
from batchtest.files.bench import BenchFile
from batchtest.files.cable import CableFile
from batchtest.files.fields import Table
from batchtest.files.fixture import FixtureFile
from batchtest.files.limits import LimitsFile
from batchtest.files.read import name_in, parse_document, read_document

from .conftest import EXAMPLE, Project

MODELS = {
    "limits/lamp.toml": LimitsFile,
    "fixtures/nest.toml": FixtureFile,
    "fixtures/cables/lead.toml": CableFile,
    "fixtures/benches/table.toml": BenchFile,
}
PIECES = [
    "[",
    "]",
    "[[",
    "]]",
    "{",
    "}",
    "=",
    ".",
    ",",
    "\n",
    "#",
    " ",
    '"',
    "'",
    '"""',
    "\\q",
    "\t",
    "\r\n",
    "\0",
    "é",
]
WORDS = ["board", "rails", "at", "load", "a", "1", "-", "nan", "inf", "true", "2026-03-02", '"4 V"', '"x"', "0x1"]


def faults_of(text: str) -> str:
    """The message that a text gets as limits."""
    with pytest.raises(FileFaults) as caught:
        parse_document(text.encode(), "limits/lamp.toml", LimitsFile)
    return str(caught.value)


def faults_or_none(text: str, file: str, model: type[Table]) -> Sequence[Fault]:
    """The faults of a text; none where it was read."""
    try:
        parse_document(text.encode(), file, model)
    except FileFaults as error:
        return error.faults
    return ()


def test_all_faults_of_a_file_come_at_once_in_the_order_of_their_lines() -> None:
    """A person mends a file in one pass, from top to bottom."""
    text = """\
board = "lamp"
revison = "A"
serials = "LP-[0-9"
[rails.rail]
nominal = 5
source = "data sheet"
at = [
    { load = "0 A", within = "2" },
    { load = "20 MA", lower = "5.2 V", upper = "4.8 V" },
]
[cold.short]
point = "rail"
"""
    assert faults_of(text).splitlines() == [
        'limits/lamp.toml: line 1: revision: is missing; add it, such as revision = "..."',
        "limits/lamp.toml: line 2: revison: is no known key; did you mean 'revision'?",
        "limits/lamp.toml: line 5: rails.rail.nominal: "
        "needs a value with its unit as a string, such as '4.75 V', got 5",
        "limits/lamp.toml: line 8: rails.rail.at[0].within: has no unit; write it such as '2 %', got '2'",
        "limits/lamp.toml: line 9: rails.rail.at[1].load: "
        "has the unit 'MA', which is none of A, mA, uA; write it such as '250 mA', got '20 MA'",
        "limits/lamp.toml: line 11: cold.short: has nothing to measure; give resistance or diode its bounds",
    ]


def test_a_table_says_all_that_is_wrong_inside_it() -> None:
    """A table's own checks do not stop at the first."""
    text = """\
board = "lamp"
revision = "A"
serials = "LP"
[rails.rail]
nominal = "0 V"
source = "data sheet"
at = [{ within = "2 %" }]
regulation = { upper = "1 %" }
resistance = { upper = "1 ohm" }
"""
    keys = re.findall(r"line (\d+): rails\.rail\.(\w+):", faults_of(text))
    assert keys == [("5", "nominal"), ("8", "regulation"), ("9", "resistance")]


@pytest.mark.parametrize(
    ("data", "says"),
    [
        pytest.param(
            b"board = 1\nx = '\xb5'", "line 2: has byte 0xb5, which is not UTF-8; save it as UTF-8", id="latin-1"
        ),
        pytest.param(
            b"\n\xb5", "line 2: has byte 0xb5, which is not UTF-8; save it as UTF-8", id="latin-1-after-a-gap"
        ),
        pytest.param(
            b"\xef\xbb\xbfboard = 1",
            "line 1: begins with a byte order mark; save it as UTF-8 without one",
            id="byte-order-mark",
        ),
        pytest.param(b"x = " + b"1" * 5000, "has a number of too many digits; write it shorter", id="digits"),
        pytest.param(b"x = " + b"[" * 3000, "has lists or tables nested too deeply; write it flatter", id="nested"),
        pytest.param(
            b"x = [1,\n", "line 1: ends where a value should stand; close every quote, [ and {", id="open-list"
        ),
        pytest.param(b"x = [1", "line 1: has a list without its closing ]", id="open-list-after-a-value"),
        pytest.param(
            b'x = "\\q"',
            "line 1: has a backslash that stands for nothing; write two, or use single quotes",
            id="escape",
        ),
        pytest.param(
            b"x = 1 # \0", "line 1: is no TOML (Found invalid character '\\x00' (at line 1, column 9))", id="other"
        ),
        pytest.param(b"x = { a = 1 ", "line 1: has a table in { } without its closing }", id="open-table"),
        pytest.param(b"x = 2026-02-30", "line 1: has a day or time that is in no calendar", id="no-such-day"),
        pytest.param(
            b"a.b = 1\n[a]\nc = 1", "line 2: writes a table a second time; put both together", id="table-over-dots"
        ),
    ],
)
def test_a_text_that_is_no_toml_is_refused_with_its_line(data: bytes, says: str) -> None:
    """What cannot be read as TOML says so, and where."""
    with pytest.raises(FileFaults, match=rf"^f\.toml: {re.escape(says)}$"):
        parse_document(data, "f.toml", LimitsFile)


def test_a_kind_of_field_without_words_of_its_own_still_says_what_was_found() -> None:
    """A new kind of field is told in plain words, if bare ones, until it gets its own."""

    class Odd(Table):
        share: float

    with pytest.raises(FileFaults, match=r"^f\.toml: line 1: share: cannot be used \(float parsing\), got 'much'$"):
        parse_document(b"share = 'much'", "f.toml", Odd)


def test_a_missing_file_names_its_nearest_neighbour() -> None:
    """A misspelt file name is answered with the right one."""
    with pytest.raises(FileFaults, match=r"^fixtures/nets\.toml: is not there; did you mean 'nest'\?$"):
        read_document(EXAMPLE / "fixtures" / "nets.toml", EXAMPLE, FixtureFile)


def test_a_folder_in_place_of_a_file_is_a_fault(tmp_path: Path) -> None:
    """What the disk refuses becomes a fault of the file."""
    (tmp_path / "lamp.toml").mkdir()
    with pytest.raises(FileFaults, match=r"^lamp\.toml: cannot be read \(Is a directory\); check its rights$"):
        read_document(tmp_path / "lamp.toml", tmp_path, LimitsFile)


def test_a_file_outside_the_project_keeps_its_whole_name(tmp_path: Path) -> None:
    """Only files inside the project are named from its root."""
    assert name_in(tmp_path / "project", tmp_path / "other.toml") == f"{tmp_path}/other.toml"


def test_an_alias_is_the_only_name_of_its_key(project: Project) -> None:
    """`from` is the key in the file; its name in the code is not one."""
    project.replace("fixtures/nest.toml", "from =", "source =")
    with pytest.raises(FileFaults, match=r"power\.source: is no known key; known: from, inrush, into, soft_start"):
        project.load()


@given(st.lists(st.sampled_from(PIECES + WORDS), max_size=25).map("".join))
def test_any_text_gives_a_model_or_faults(text: str) -> None:
    """No text makes the reader fail in any other way."""
    assert all(fault.message for fault in faults_or_none(text, "f.toml", LimitsFile))


@given(st.binary(max_size=60))
def test_any_bytes_give_a_model_or_faults(data: bytes) -> None:
    """Not even what is no text at all."""
    with pytest.raises(FileFaults, match=r"^f\.toml: "):
        parse_document(data, "f.toml", LimitsFile)


@given(st.sampled_from(sorted(MODELS)), st.data())
def test_a_damaged_file_gives_a_model_or_faults(file: str, data: st.DataObject) -> None:
    """A right file with a piece cut out or put in is read, or refused with faults."""
    text = (EXAMPLE / file).read_text()
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 30)))
    damaged = text[:start] + data.draw(st.sampled_from(["", "0", "x", '"', "-", "{}", "[]"])) + text[end:]
    for fault in faults_or_none(damaged, file, MODELS[file]):
        assert fault.file == file
        assert 0 <= fault.line <= damaged.count("\n") + 1
