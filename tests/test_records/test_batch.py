"""A batch in numbers: what counts, what stays out, and how sure it is."""

from __future__ import annotations

import json
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.errors import RecordError
from batchtest.nouns import Outcome
from batchtest.records.batch import FIRST_PASS_YIELD, batch_summary, exact_yield, write_batch_json
from batchtest.records.journal import Journal
from test_records.contexts import CONTEXT, closed

PASS, FAIL, DOUBTFUL, STOPPED, REFUSED = Outcome
LOW, SHORT = "logic @ load point 2: 4.7 V is low", "supply-short: 3 ohm is low"


@pytest.fixture
def folder(tmp_path):
    """Six boards: two good, one good after a stop, one bad that passed on retest, one bad, one never worked through."""
    for serial, outcome, cause in [
        ("VN-1", PASS, None),
        ("VN-2", FAIL, LOW),
        ("VN-2", PASS, None),
        ("VN-3", STOPPED, "meter: no reply"),
        ("VN-3", PASS, None),
        ("VN-4", DOUBTFUL, LOW.replace("4.7", "4.76")),
        ("VN-5", REFUSED, "cable not proven"),
        ("VN-6", FAIL, SHORT),
        ("VN-10", PASS, None),
    ]:
        closed(tmp_path, serial, outcome, cause)
    Journal.claim(tmp_path, replace(CONTEXT, serial="VN-7")).abandon()
    return tmp_path / "spring-1"


def test_first_pass_yield_counts_boards_at_their_first_worked_through_attempt(folder):
    """A retest does not mend a first failure, a stop or refusal is not the board's, doubt is not a pass."""
    found = batch_summary(folder).first_pass
    assert (found.passed, found.boards, found.share) == (3, 6, 0.5)


def test_causes_are_counted_by_board_not_by_value(folder):
    """Two boards low on the same rail are one cause twice, whatever their values."""
    assert batch_summary(folder).causes == {"logic @ load point 2": 2, "supply-short": 1}
    assert list(batch_summary(folder).causes) == ["logic @ load point 2", "supply-short"]


def test_every_attempt_and_every_board_is_there(folder):
    """Attempts by outcome, the last word on each board, and what was begun and never closed."""
    found = batch_summary(folder)
    assert found.outcomes == {PASS: 4, FAIL: 2, DOUBTFUL: 1, STOPPED: 1, REFUSED: 1}
    assert found.boards["VN-2"] is PASS
    assert found.boards["VN-5"] is REFUSED
    assert found.open == ("VN-7.1",)
    assert (found.board, found.batch, found.damaged) == ("vent", "spring-1", {})
    assert [(a.serial, a.number) for a in found.attempts if a.serial == "VN-2"] == [("VN-2", 1), ("VN-2", 2)]


def test_a_damaged_record_is_listed_not_counted(folder):
    """One bad file does not hide a batch, and does not pass for a board."""
    (folder / "VN-1.1.csv-metadata.json").write_text("{}")
    found = batch_summary(folder)
    assert found.first_pass.boards == 5
    assert "is no description of a record" in found.damaged["VN-1.1.csv"]


def test_the_batch_file_says_what_the_summary_says(folder):
    """The file is for machines and people alike: counts, interval and the definition beside it."""
    summary = write_batch_json(folder)
    written = json.loads((folder / "batch.json").read_text())
    assert summary == batch_summary(folder)
    assert written["first_pass"]["definition"] == FIRST_PASS_YIELD
    assert written["outcomes"]["pass"] == 4
    assert (written["first_pass"]["lower"], written["open"]) == (summary.first_pass.lower, ["VN-7.1"])
    assert written["attempts"][0] == {
        "board": "vent",
        "batch": "spring-1",
        "serial": "VN-1",
        "number": 1,
        "outcome": "pass",
        "first_cause": None,
        "started": "2026-03-02T08:15:00Z",
        "duration_s": 90.25,
        "record": "spring-1/VN-1.1.csv",
    }


def test_a_batch_file_that_does_not_fit_leaves_the_old_one(folder, small_disk):
    """A full disk replaces nothing and leaves no temporary file."""
    (folder / "batch.json").write_text("old")
    before = sorted(folder.iterdir())
    with small_disk(500), pytest.raises(RecordError, match=r"batch\.json cannot be written: File too large"):
        write_batch_json(folder)
    assert (folder / "batch.json").read_text() == "old"
    assert before == sorted(folder.iterdir())


def test_a_folder_that_is_not_there_is_said(tmp_path):
    """A batch that was never begun has no numbers."""
    with pytest.raises(RecordError, match="autumn-1 cannot be read: No such file"):
        batch_summary(tmp_path / "autumn-1")


def test_an_empty_batch_claims_nothing(tmp_path):
    """Without a board there is no share, and the interval is everything."""
    found = batch_summary(tmp_path).first_pass
    assert (found.boards, found.share, found.lower, found.upper) == (0, None, 0.0, 1.0)


@pytest.mark.parametrize(
    ("passed", "boards", "lower_pct", "upper_pct"),
    [
        pytest.param(10, 10, 69, 100, id="10-of-10"),
        pytest.param(9, 10, 56, 99.7, id="9-of-10"),
        pytest.param(20, 20, 83, 100, id="20-of-20"),
        pytest.param(18, 20, 68, 99, id="18-of-20"),
    ],
)
def test_intervals_are_the_exact_ones(passed, boards, lower_pct, upper_pct):
    """Clopper and Pearson (1934) intervals, as commonly tabulated to a percent (common practice, no source)."""
    found = exact_yield(passed, boards)
    assert lower_pct == pytest.approx(100 * found.lower, abs=0.51)
    assert upper_pct == pytest.approx(100 * found.upper, abs=0.51)


@pytest.mark.no_cover
@settings(deadline=None)
@given(boards=st.integers(1, 60), data=st.data())
def test_an_interval_is_where_the_binomial_tails_are_a_fortieth(boards, data):
    """By the definition itself: at each end, what was seen or more extreme has a probability of 2.5 %."""
    from scipy.stats import binom

    passed = data.draw(st.integers(0, boards))
    found = exact_yield(passed, boards)
    if passed:
        assert binom.sf(passed - 1, boards, found.lower) == pytest.approx(0.025, rel=1e-6)
    if passed < boards:
        assert binom.cdf(passed, boards, found.upper) == pytest.approx(0.025, rel=1e-6)
    assert found.lower <= passed / boards <= found.upper
