"""What keeps a board from being released, and what limits a deviation or concession."""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from batchtest.nouns import Judgement, Note, NoteKind, Outcome, Verdict
from batchtest.records.history import history_of
from batchtest.records.journal import Journal
from batchtest.records.note import write_note
from batchtest.records.permission import refusals
from test_records.contexts import CONTEXT, a_line, close, closed
from test_records.notes import a_note, a_permit

RELEASE = a_note(kind=NoteKind.RELEASE, text="to the customer")


def asked(reports: Path, note: Note = RELEASE) -> str:
    """What speaks against a note."""
    return "\n".join(refusals(reports, note, history_of(reports, "spring-1", note.serial)))


def test_a_board_that_passed_is_released(tmp_path: Path):
    """Every verdict of its last test is known."""
    closed(tmp_path, outcome=Outcome.FAIL)
    closed(tmp_path)
    assert asked(tmp_path) == ""


@pytest.mark.parametrize("outcome", [Outcome.FAIL, Outcome.DOUBTFUL])
def test_a_board_that_did_not_pass_is_released_with_a_concession_only(tmp_path: Path, outcome):
    """A doubt is no pass; the concession must be about that very test."""
    closed(tmp_path, outcome=outcome)
    assert f"attempt 1 of VN-0001 is {outcome}, and no deviation or concession about it is in force" in asked(tmp_path)
    write_note(tmp_path, a_permit())
    assert asked(tmp_path) == ""
    closed(tmp_path, outcome=outcome)
    assert "attempt 2 of VN-0001 is" in asked(tmp_path)


def test_a_permit_that_ended_releases_nothing(tmp_path: Path):
    """The day of the release counts, not the day on which it was granted."""
    closed(tmp_path, outcome=Outcome.FAIL)
    write_note(tmp_path, a_permit())
    late = replace(RELEASE, written=RELEASE.written.replace(month=4, day=2))
    assert "no deviation or concession about it is in force" in asked(tmp_path, late)


@pytest.mark.parametrize("outcome", [Outcome.STOPPED, Outcome.REFUSED])
def test_a_board_whose_last_attempt_was_no_test_is_not_released(tmp_path: Path, outcome):
    """Although it passed before: nobody knows why it was taken up again."""
    closed(tmp_path)
    closed(tmp_path, outcome=outcome)
    assert f"attempt 2 of VN-0001 is {outcome}, so that its verdicts are not known; test it" in asked(tmp_path)


def test_an_open_attempt_keeps_a_board_from_release(tmp_path: Path):
    """It may be running elsewhere."""
    closed(tmp_path)
    Journal.claim(tmp_path, CONTEXT).abandon()
    assert "attempt 2 of VN-0001 is open" in asked(tmp_path)


def test_a_reworked_board_is_tested_before_its_release(tmp_path: Path):
    """What it read before the rework says nothing of it now."""
    closed(tmp_path)
    write_note(tmp_path, a_note())
    assert "was reworked (note 1) and not tested since; test it" in asked(tmp_path)
    closed(tmp_path)
    assert asked(tmp_path) == ""


def test_a_reading_without_a_verdict_keeps_a_board_from_release(tmp_path: Path):
    """A concession does not say what was never read."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(replace(a_line(), judgement=Judgement(verdict=Verdict.UNREAD)))
        close(journal, Outcome.DOUBTFUL)
    write_note(tmp_path, a_permit())
    assert asked(tmp_path) == "attempt 1 of VN-0001 has no verdict on logic @ load point 2; test it"


def test_an_altered_record_releases_nothing(tmp_path: Path):
    """One digit of a reading."""
    path = tmp_path / closed(tmp_path).record
    path.write_bytes(path.read_bytes().replace(b"4.98,V", b"4.97,V"))
    assert "the record of attempt 1 of VN-0001 was altered" in asked(tmp_path)


def test_a_scrapped_board_stays_scrapped(tmp_path: Path):
    """It can be corrected, not released."""
    closed(tmp_path)
    write_note(tmp_path, a_note(kind=NoteKind.SCRAP, text="dropped"))
    assert asked(tmp_path) == "VN-0001 was scrapped; only a correction can be added to it"
    assert asked(tmp_path, a_note(kind=NoteKind.CORRECTION)) == ""


def test_a_quantity_is_used_up_by_boards_of_every_batch(tmp_path: Path):
    """Two boards may cite it; the same board twice is one."""
    write_note(tmp_path, a_permit())
    write_note(tmp_path, a_permit(batch="summer", serial="VN-0100"))
    assert asked(tmp_path, a_permit()) == ""
    third = a_permit(serial="VN-0003")
    assert asked(tmp_path, third) == "DEV-12 is used up: 2 of 2 boards cite it; have another one granted"


@pytest.mark.parametrize(
    "changes",
    [
        pytest.param({"quantity": 3}, id="more-boards"),
        pytest.param({"until": date(2026, 12, 31)}, id="longer"),
        pytest.param({"kind": NoteKind.DEVIATION}, id="other-kind"),
    ],
)
def test_a_permit_cannot_be_widened_by_citing_it(tmp_path: Path, changes):
    """A number has one set of limits."""
    write_note(tmp_path, a_permit())
    said = asked(tmp_path, a_permit(serial="VN-0002", **changes))
    assert said.startswith("DEV-12 is a concession until 2026-04-01 for 2 boards, by note 1 of batch spring-1; cite it")
