"""What is known of a board before it is tested: what counts as a test, and since when."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from batchtest.nouns import NoteKind, Outcome
from batchtest.records.history import batches_of, history_of, not_passed_elsewhere
from batchtest.records.journal import Journal
from batchtest.records.note import write_note
from test_records.contexts import CONTEXT, closed
from test_records.notes import a_note


@pytest.mark.parametrize(
    ("outcomes", "tests", "tested"),
    [
        pytest.param([], 0, False, id="never-seen"),
        pytest.param([Outcome.STOPPED, Outcome.REFUSED], 0, False, id="the-stations-fault"),
        pytest.param([Outcome.FAIL, Outcome.STOPPED], 1, True, id="tested-once"),
        pytest.param([Outcome.PASS, Outcome.DOUBTFUL, Outcome.FAIL], 3, True, id="tested-thrice"),
    ],
)
def test_only_what_tells_of_the_board_is_a_test(tmp_path: Path, outcomes, tests, tested):
    """Stopped and refused attempts are shown, and do not count."""
    for outcome in outcomes:
        closed(tmp_path, outcome=outcome)
    closed(tmp_path, "VN-0002")
    past = history_of(tmp_path, "spring-1", "VN-0001")
    assert [each.attempt.outcome for each in past.attempts if each.attempt] == outcomes
    assert (len(past.tests), past.tested) == (tests, tested)


def test_tests_are_counted_anew_after_a_rework(tmp_path: Path):
    """The first test after it is due to it, the next one is not."""
    closed(tmp_path, outcome=Outcome.FAIL)
    closed(tmp_path, outcome=Outcome.FAIL)
    note = write_note(tmp_path, a_note(about="spring-1/VN-0001.2.csv"))
    past = history_of(tmp_path, "spring-1", "VN-0001")
    assert (past.reworked, past.tests, past.tested) == (note, (), True)
    closed(tmp_path, outcome=Outcome.FAIL)
    past = history_of(tmp_path, "spring-1", "VN-0001")
    assert (past.reworked, [each.number for each in past.tests]) == (None, [3])


def test_a_stopped_attempt_does_not_use_up_a_rework(tmp_path: Path):
    """The board was not tested since."""
    closed(tmp_path, outcome=Outcome.FAIL)
    note = write_note(tmp_path, a_note())
    closed(tmp_path, outcome=Outcome.STOPPED)
    assert history_of(tmp_path, "spring-1", "VN-0001").reworked == note


def test_another_note_is_no_rework(tmp_path: Path):
    """A correction changes no board."""
    closed(tmp_path, outcome=Outcome.FAIL)
    write_note(tmp_path, a_note(kind=NoteKind.CORRECTION))
    past = history_of(tmp_path, "spring-1", "VN-0001")
    assert (past.reworked, len(past.tests)) == (None, 1)


def test_an_open_attempt_is_no_test_and_a_damaged_one_may_have_been(tmp_path: Path):
    """What nobody can read any more does not make a retest free."""
    first = closed(tmp_path)
    (tmp_path / first.record).with_suffix(".csv-metadata.json").write_text("{}")
    Journal.claim(tmp_path, CONTEXT).abandon()
    past = history_of(tmp_path, "spring-1", "VN-0001")
    damaged, begun = past.attempts
    assert (damaged.tells, "is no description of a record" in damaged.damaged) == (True, True)
    assert (begun.tells, begun.open, begun.number) == (False, True, 2)


def test_a_board_is_found_in_every_batch_but_the_challenges(tmp_path: Path):
    """The golden board of a challenge is no board of a batch; files beside the batches are none."""
    for batch in ("summer", "spring-1", "challenges"):
        closed(tmp_path, batch=batch)
    (tmp_path / "notes.txt").write_text("")
    assert batches_of(tmp_path, "VN-0001") == ["spring-1", "summer"]
    assert batches_of(tmp_path, "VN-0002") == []
    assert batches_of(tmp_path / "none", "VN-0001") == []


def test_a_board_that_did_not_pass_elsewhere_is_known_here(tmp_path: Path):
    """By its last test there: a new name of a batch makes no new board."""
    closed(tmp_path, outcome=Outcome.PASS)
    closed(tmp_path, outcome=Outcome.FAIL, cause="logic is low")
    closed(tmp_path, outcome=Outcome.STOPPED)
    closed(tmp_path, batch="summer", outcome=Outcome.FAIL)
    closed(tmp_path, batch="summer")
    found = list(not_passed_elsewhere(tmp_path, "autumn", "VN-0001"))
    assert [(attempt.batch, attempt.number, attempt.first_cause) for attempt in found] == [
        ("spring-1", 2, "logic is low")
    ]
    assert not list(not_passed_elsewhere(tmp_path, "spring-1", "VN-0001"))


def test_a_serial_with_dots_is_not_taken_for_another(tmp_path: Path):
    """The serial VN.1 attempt 2 is not VN attempt 1 or 2."""
    with Journal.claim(tmp_path, replace(CONTEXT, serial="VN.1")):
        assert history_of(tmp_path, "spring-1", "VN").attempts == ()
