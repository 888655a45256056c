"""Text that a spreadsheet would run: nothing of it stays, and nothing of the text is lost."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from batchtest.formulas import STARTS, formula_fault, harmless, original

#: Mostly of what matters here, so that every neighbourhood of signs comes up.
TEXT = st.text(st.sampled_from([*STARTS, "'", " ", ";", "a", "1", ",", '"'])) | st.text(st.characters(codec="utf-8"))

#: Common practice, no source: what spreadsheets are known to run, and what they are made to run with it.
RUN = [
    pytest.param("=1+1", id="equals"),
    pytest.param("+1+1", id="plus"),
    pytest.param("-2+3+cmd|' /C calc'!A0", id="minus"),
    pytest.param("@SUM(1+1)", id="at"),
    pytest.param("\t=1+1", id="tab"),
    pytest.param("\r=1+1", id="carriage-return"),
    pytest.param("\n=1+1", id="line-feed"),
    pytest.param("＝1+1", id="full-width-equals"),
    pytest.param("＋1", id="full-width-plus"),
    pytest.param("－1", id="full-width-minus"),
    pytest.param("＠SUM(1)", id="full-width-at"),
    pytest.param("−1", id="minus-sign"),
    pytest.param("  =1+1", id="spaces-before"),
    pytest.param("fine;=1+1", id="after-a-semicolon"),
    pytest.param("fine\t=1+1", id="after-a-tab"),
    pytest.param("fine\n=1+1", id="after-a-line-end"),
]


@given(text=TEXT)
@example(text="''=1")
@example(text="' '=1")
@example(text="a;';=1")
def test_a_text_made_harmless_comes_back_as_it_was(text):
    """Whatever an instrument answers can be had again from its record, to the last character."""
    assert text == original(harmless(text))


@given(text=TEXT)
def test_nothing_of_a_harmless_text_begins_a_formula(text):
    """Once made harmless, neither the text nor a part of it that a spreadsheet may cut off would be run."""
    assert formula_fault(harmless(text)) is None


@pytest.mark.parametrize("text", RUN)
def test_what_a_spreadsheet_runs_is_refused_and_made_harmless(text):
    """A person is told what to write instead; for an instrument's reply, an apostrophe stands before it."""
    fault = formula_fault(text)
    assert fault is not None
    assert "a spreadsheet begins a formula; begin with a letter or digit" in fault
    assert len(text) < len(harmless(text))
    assert text == original(harmless(text))


@pytest.mark.parametrize(
    "text", ["", "data sheet, p. 4", "K. Ahn-Osei", "a = b", "5 V +- 2 %", "o'clock", "'tis", "x@y", "1;2", "a\r\nb"]
)
def test_plain_text_is_left_alone(text):
    """What no spreadsheet runs is stored as it is, and nobody is refused for it."""
    assert formula_fault(text) is None
    assert text == harmless(text) == original(text)
