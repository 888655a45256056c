"""The list of boards that something touched: complete, and safe from what it shows."""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

import pytest

from batchtest.nouns import Outcome
from batchtest.pages.found import found_page
from batchtest.records.search import Found, Touched, Wanted
from test_pages.examples import STARTED, record
from test_pages.html import Page

HOSTILE = "</style><script>alert('1')</script>\"&"


def found(*outcomes: Outcome, intact: bool = True, open: tuple[str, ...] = (), **damaged: str) -> Found:
    """A search that came to attempts of these outcomes."""
    records = [record(outcome, None if outcome is Outcome.PASS else "logic: low") for outcome in outcomes]
    attempts = tuple(Touched(record=one.path, closing=one.closing, intact=intact) for one in records)
    return Found(attempts=attempts, searched=1234, open=open, damaged=damaged)


def text_of(search: Found, **values: str) -> str:
    """What a reader sees."""
    wanted = Wanted(values=values or {"cable": "vent-lead"}, since=STARTED - timedelta(days=1), until=STARTED)
    page = Page(found_page(search, wanted, STARTED))
    assert page.faults == []
    return " ".join("".join(page.texts).split())


def test_the_head_says_what_was_asked_and_counted():
    """Whoever finds the paper in a year knows what it lists."""
    said = text_of(found(Outcome.PASS, Outcome.FAIL))
    assert "cable vent-lead · from " in said
    assert "2 attempts (1 pass, 1 fail) in 1 batch; 1,234 records searched" in said


@pytest.mark.parametrize(
    ("search", "line"),
    [
        pytest.param(found(open=("spring/VN-1.1",)), "begun and not closed: spring/VN-1.1", id="open"),
        pytest.param(found(x="cut off"), "since damaged: x: cut off", id="damaged"),
        pytest.param(found(Outcome.PASS, intact=False), "altered since it was closed: the", id="altered"),
    ],
)
def test_what_the_list_cannot_tell_stands_on_it(search: Found, line: str):
    """A list that looks complete and is not does harm."""
    said = text_of(search)
    assert "What this list cannot tell" in said
    assert line in said


def test_an_empty_list_says_so():
    """None is an answer."""
    assert "No board was touched." in text_of(found())


def test_hostile_names_do_nothing():
    """What a person typed and what a record says is shown, never run."""
    page = found_page(found(**{"x": HOSTILE}), Wanted(values={"operator": HOSTILE}), STARTED)
    assert "<script>alert" not in page
    assert Page(page).faults == []
    assert Path("x").name in page
