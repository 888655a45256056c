"""Notes and what was told of a board, on the pages of its attempts and of its batch."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import pytest
from test_records.notes import a_note, a_permit

from batchtest.nouns import NoteKind, Outcome, Reason, Retest
from batchtest.pages import attempt_page, batch_page, write_attempt_page, write_batch_page
from batchtest.pages.notes import note_line
from batchtest.records.batch import BatchSummary
from test_pages.examples import context, journalled, lines, record, summary
from test_pages.html import Page

PASSED = record(Outcome.PASS, lines=lines())
REWORK = a_note(number=1, part="R5B", changed="replaced", lot="L-77")


def text_of(**changes: object) -> str:
    """What the page of an attempt says, with more in its context."""
    page = Page(attempt_page(record(Outcome.PASS, lines=lines(), **changes)))
    assert page.faults == []
    return " ".join(page.text.split())


def test_a_note_says_what_was_done_by_whom_and_where_it_is_kept():
    """Before this attempt, and after it began."""
    later = a_note(number=2, kind=NoteKind.RELEASE, text="to the customer")
    known = record(Outcome.PASS, lines=lines(), notes=(REWORK,))
    page = Page(attempt_page(known, (REWORK, later)))
    text = " ".join(page.text.split())
    assert page.faults == []
    assert "rework part R5B, changed: replaced, lot L-77: open joint found under R5B" in text
    assert "K. Ahn, 2026-03-03 10:00 +00:00, before this attempt; note.1.json, about spring-1/VN-0001.1.csv" in text
    assert "RELEASED: to the customer" in text or "RELEASED : to the customer" in text
    assert "after this attempt began; note.2.json" in text


def test_a_note_that_was_taken_from_the_disk_is_still_on_the_page():
    """The record carries it."""
    assert "open joint found under R5B" in text_of(notes=(REWORK,))


def test_a_damaged_note_keeps_no_page_from_being_written(tmp_path):
    """The page of the batch names it as damaged; that of the board has what its record carries."""
    path = journalled(tmp_path, "VN-0001")
    (path.parent / "note.1.json").write_text("{}")
    assert "Notes on this board" not in write_attempt_page(path).read_text()
    assert "note.1.json is damaged" in Page(write_batch_page(path.parent).read_text()).text


def test_without_notes_the_word_is_nowhere():
    """Most boards have none."""
    assert "Notes on this board" not in attempt_page(PASSED)


def test_what_is_not_known_is_said():
    """A record of before these were kept."""
    text = text_of()
    for said in ("firmware not known", "parts list option not known", "humidity not measured"):
        assert said in text
    assert "vent-lead, revision not known, matings not counted" in text


def test_what_is_known_is_said():
    """Board, air, wear, certificate."""
    known = context().instruments[0]
    text = text_of(
        firmware="1.2", option="24 V", humidity=0.45, fixture_revision="A", fixture_matings=7, cable_revision="B",
        cable_matings=13, instruments=(replace(known, certificate="GB-26-0117", dialect_sha256="d1" * 32),),
    )  # fmt: skip
    for said in (
        "firmware 1.2", "parts list option 24 V", "humidity 45.0 %", "vent-nest revision A, mated 7 times",
        "vent-lead revision B, mated 13 times", "certificate GB-26-0117", f"dialect {known.dialect} {'d1' * 32}",
    ):  # fmt: skip
        assert said in text


@pytest.mark.parametrize(
    ("retest", "said"),
    [
        pytest.param(Retest(reason=Reason.RESEATED, earlier=("b/x.1.csv",), number=1),
                     "re-seated; retest 1 of 1 allowed", id="allowed"),
        pytest.param(Retest(reason=Reason.OTHER, text="lid open", earlier=("b/x.1.csv",), number=2, second="M. Osei"),
                     "other: lid open; retest 2 of 1 allowed, with M. Osei", id="second-person"),
        pytest.param(Retest(reason=Reason.REWORKED, text="note 1", earlier=("b/x.1.csv",), number=0),
                     "reworked: note 1; the first test after a rework", id="reworked"),
    ],
)  # fmt: skip
def test_a_retest_says_why_and_who_answers_for_it(retest, said):
    """With the records of the attempts before it."""
    text = text_of(retest=retest, retests_allowed=1)
    assert f"tested again {said}" in text
    assert "attempts before b/x.1.csv" in text


@pytest.mark.parametrize(
    ("changes", "again"),
    [
        pytest.param({"attempt": 1}, True, id="first"),
        pytest.param({"attempt": 2}, False, id="second-of-an-older-record"),
        pytest.param({"attempt": 1, "retests_allowed": 0}, False, id="none-allowed"),
        pytest.param(
            {"attempt": 4, "retests_allowed": 1, "retest": Retest(reason=Reason.REWORKED, earlier=(), number=0)},
            True, id="after-a-rework",
        ),
        pytest.param(
            {"attempt": 3, "retests_allowed": 2, "retest": Retest(reason=Reason.RESEATED, earlier=(), number=2)},
            False, id="the-last",
        ),
    ],
)  # fmt: skip
def test_after_a_fail_the_page_says_whether_a_retest_is_left(changes, again):
    """As the limits of that record allow."""
    page = attempt_page(record(Outcome.FAIL, "logic is low", lines=lines(), **changes))
    assert ("One retest is allowed" in page) == again
    assert ("No retest is left without a second person" in page) == (not again)


def test_the_batch_page_has_the_notes_of_each_board_beside_it():
    """One line each."""
    found: BatchSummary = summary([PASSED])
    permit = a_permit(number=2, serial="VN-0009")
    page = batch_page(found, [PASSED], notes=(REWORK, permit))
    assert note_line(REWORK) in Page(page).text
    assert "DEV-12" not in page


def test_a_note_is_only_text():
    """What was typed is no mark-up."""
    page = attempt_page(PASSED, (a_note(number=1, text="<b>x</b>"),))
    assert "&lt;b&gt;x&lt;/b&gt;" in page


def test_a_note_is_said_on_one_line():
    """Kind, limits, people, day, text."""
    assert note_line(a_permit(number=3, until=date(2026, 4, 1), quantity=1, second="M. Osei")) == (
        "note 3, concession (DEV-12, until 2026-04-01, for one board) by K. Ahn and M. Osei, 2026-03-03 10:00 +00:00: "
        "harmless in this host"
    )
