"""Marks point to what was changed: the very cell, the very key."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.records.columns import NAMES
from batchtest.records.marks import QUOTES, changed_cells, changed_keys, marks_of
from batchtest.records.rows import header, row_of
from test_records.contexts import a_line

DATA = header() + b"".join(row_of(a_line(number, raw='a,"b"\r\nc')) for number in (1, 2, 3))
BLOCK = {"outcome": "pass", "context": {"operator": "K. Ahn", "ambient_C": 23.5}, "proof": ["id"]}


def written(rows: list[list[str]]) -> bytes:
    """Rows as a CSV."""
    text = io.StringIO()
    csv.writer(text).writerows(rows)
    return text.getvalue().encode()


@settings(deadline=None, max_examples=50)
@given(row=st.integers(0, 3), column=st.integers(0, len(NAMES) - 1), text=st.text(max_size=5))
def test_a_changed_cell_is_named_by_its_row_and_column(row, column, text):
    """Whichever cell becomes whichever text."""
    rows = list(csv.reader(io.StringIO(DATA.decode(), newline="")))
    same = rows[row][column] == text
    rows[row][column] = text
    said = changed_cells(marks_of(BLOCK, DATA), written(rows))
    if "\r" not in text and "\n" not in text:
        assert said == (QUOTES if same else f"line {row + 1}, column {NAMES[column]}")


@pytest.mark.parametrize(
    ("data", "said"),
    [
        pytest.param(DATA[:-20], "line 4", id="cut"),
        pytest.param(DATA + b"4", "line 5: 4 lines were written, 5 are there", id="added"),
        pytest.param(b"", "line 1: 4 lines were written, 0 are there", id="empty"),
        pytest.param(DATA.replace(b"\r\n2", b"\n2"), QUOTES, id="line-end"),
        pytest.param(DATA.replace(b"4.98", b"\x00\xff98"), "line 2, 3, 4", id="no-text"),
    ],
)
def test_what_is_more_than_a_cell_is_named_as_far_as_it_goes(data, said):
    """A line that is gone or new, a file that is no CSV any more."""
    assert changed_cells(marks_of(BLOCK, DATA), data).replace("lines", "line").startswith(said.replace("lines", "line"))


@pytest.mark.parametrize(
    ("changed", "keys"),
    [
        pytest.param({"outcome": "fail"}, ("outcome",), id="value"),
        pytest.param({"context": {"operator": "K. Ahn", "ambient_C": 24.5}}, ("context.ambient_C",), id="within"),
        pytest.param({"context": {"operator": "K. Ahn"}}, ("context.ambient_C",), id="gone"),
        pytest.param({"new": 1}, ("new",), id="added"),
        pytest.param({}, (), id="nothing"),
    ],
)
def test_a_changed_key_is_named(changed, keys):
    """A value that was changed, taken out or added, inside the context too."""
    assert changed_keys(marks_of(BLOCK, DATA), {**BLOCK, **changed}) == keys


@pytest.mark.parametrize("marks", [{}, {"rows": 1, "columns": None, "keys": []}], ids=["none", "nonsense"])
def test_marks_that_are_none_name_nothing(marks):
    """Records of an earlier format carry none; what was changed in them is found all the same, by the hashes."""
    assert changed_cells(marks, DATA) == ""
    assert changed_keys(marks, BLOCK) == ()
