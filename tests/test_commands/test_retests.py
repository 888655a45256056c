"""A board that was tested before: what is shown, what is asked, and who else must answer."""

from __future__ import annotations

import re
import sys
from pathlib import Path

import pytest
from test_records.contexts import CONTEXT, closed
from test_records.notes import a_note

from batchtest.commands.retests import Answer, Retests, answer_of, parse_reason
from batchtest.errors import SetupError
from batchtest.nouns import NoteKind, Outcome, Reason, Retest
from batchtest.records.journal import Journal
from batchtest.records.note import write_note
from test_commands.asked import Asked

FAIL = Outcome.FAIL


@pytest.fixture
def terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody sits in front of it."""
    monkeypatch.setattr(sys.stdin, "isatty", lambda: True)


@pytest.fixture
def nobody(monkeypatch: pytest.MonkeyPatch) -> None:
    """Nobody can be asked."""
    monkeypatch.setattr(sys.stdin, "isatty", lambda: False)


def desk(reports: Path, *answers: str, allowed: int = 1, said: Answer | None = None) -> tuple[Retests, Asked]:
    """The retests of a batch, and its screen."""
    screen = Asked(answers)
    return Retests(reports, "spring-1", allowed, "K. Ahn", said or Answer(), screen), screen


def retest(reports: Path, *answers: str, **more: object) -> Retest | None:
    """What is known of the retest of a board that is admitted."""
    retests, screen = desk(reports, *answers, **more)  # type: ignore[arg-type]
    assert retests.admit("VN-0001")
    assert screen.answers == []
    return retests.past("VN-0001").retest


def test_a_board_that_was_never_seen_is_asked_nothing(tmp_path: Path, nobody):
    """Nor is anything said of it."""
    retests, screen = desk(tmp_path)
    retests.require(["VN-0001"])
    assert retests.admit("VN-0001")
    assert (screen.said, retests.past("VN-0001").retest) == ([], None)


def test_stopped_and_refused_attempts_are_shown_and_ask_for_nothing(tmp_path: Path, nobody):
    """They were the station's fault."""
    closed(tmp_path, outcome=Outcome.STOPPED, cause="meter: no reply")
    closed(tmp_path, outcome=Outcome.REFUSED)
    retests, screen = desk(tmp_path)
    retests.require(["VN-0001"])
    assert retests.admit("VN-0001")
    assert screen.said == [
        "VN-0001 attempt 2 before: REFUSED on 2026-03-02 08:15 +00:00",
        "VN-0001 attempt 1 before: STOPPED on 2026-03-02 08:15 +00:00: meter: no reply",
    ]


def test_the_person_sees_what_became_of_it_and_picks_a_reason(tmp_path: Path, terminal):
    """By number; the record names every attempt before it."""
    closed(tmp_path, outcome=Outcome.STOPPED)
    closed(tmp_path, outcome=FAIL, cause="logic is low")
    retests, screen = desk(tmp_path, "1")
    assert retests.admit("VN-0001")
    assert screen.said[0] == "VN-0001 attempt 2 before: FAIL on 2026-03-02 08:15 +00:00: logic is low"
    (question,) = screen.questions
    assert question.startswith(
        "why is VN-0001 tested again? 1 re-seated, 2 reworked, 3 bench-mended, 4 golden-check, 5"
    )
    assert retests.past("VN-0001").retest == Retest(
        reason=Reason.RESEATED, earlier=("spring-1/VN-0001.1.csv", "spring-1/VN-0001.2.csv"), number=1
    )


@pytest.mark.parametrize(
    ("answers", "reason", "text"),
    [
        pytest.param(("golden-check",), Reason.GOLDEN_CHECK, "", id="by-name"),
        pytest.param(("5", "the lid was open"), Reason.OTHER, "the lid was open", id="other"),
        pytest.param(("5", "", "6", "resated", "1"), Reason.RESEATED, "", id="until-it-is-one"),
    ],
)
def test_what_is_answered_is_taken_when_it_is_a_reason(tmp_path: Path, terminal, answers, reason, text):
    """Anything else is asked again."""
    closed(tmp_path)
    found = retest(tmp_path, *answers)
    assert found is not None
    assert (found.reason, found.text) == (reason, text)


def test_no_answer_leaves_the_board_out(tmp_path: Path, terminal):
    """It is not tested without a reason."""
    closed(tmp_path)
    retests, _ = desk(tmp_path, "")
    assert not retests.admit("VN-0001")


def test_no_second_person_leaves_the_board_out(tmp_path: Path, terminal):
    """A reason alone is not enough once the retests are used up."""
    for _ in range(2):
        closed(tmp_path, outcome=FAIL)
    retests, _ = desk(tmp_path, "1", "")
    assert not retests.admit("VN-0001")


def test_what_cannot_be_read_any_more_is_told_and_counts(tmp_path: Path, nobody):
    """A damaged record may have been a test; an open one was none."""
    first = closed(tmp_path)
    (tmp_path / first.record).with_suffix(".csv-metadata.json").write_text("{}")
    Journal.claim(tmp_path, CONTEXT).abandon()
    retests, screen = desk(tmp_path, said=Answer(Reason.RESEATED))
    assert retests.admit("VN-0001")
    assert screen.said[0] == "VN-0001 attempt 2 before: begun and not closed"
    assert "VN-0001 attempt 1 before: its record is damaged: VN-0001.1.csv-metadata.json: is no desc" in screen.said[1]


def test_after_a_rework_that_is_the_reason(tmp_path: Path, nobody):
    """Nothing is asked, however often it was tested before; the record says what was done."""
    for _ in range(3):
        closed(tmp_path, outcome=FAIL)
    note = write_note(tmp_path, a_note(about="spring-1/VN-0001.3.csv", part="R5B", changed="replaced"))
    retests, screen = desk(tmp_path)
    retests.require(["VN-0001"])
    assert retests.admit("VN-0001")
    past = retests.past("VN-0001")
    assert past.notes == (note,)
    assert past.retest is not None
    assert (past.retest.reason, past.retest.number) == (Reason.REWORKED, 0)
    assert "note 1, rework (part R5B, changed: replaced) by K. Ahn" in past.retest.text
    assert "VN-0001 is tested again after its rework" in screen.said


def test_what_was_said_beforehand_is_not_asked(tmp_path: Path, nobody):
    """The reason holds for every board of the batch that needs one."""
    closed(tmp_path, outcome=FAIL)
    found = retest(tmp_path, said=answer_of("other: the lid was open", None, "K. Ahn"))
    assert found is not None
    assert (found.reason, found.text, found.number) == (Reason.OTHER, "the lid was open", 1)


def test_more_retests_than_allowed_need_a_second_person(tmp_path: Path, terminal):
    """The operator in another spelling is no second one."""
    for _ in range(2):
        closed(tmp_path, outcome=FAIL)
    retests, screen = desk(tmp_path, "1", "k ahn", "M. Osei")
    assert retests.admit("VN-0001")
    assert (
        "was tested 2 times since it was made or reworked: one retest is allowed, one more takes a second"
        in (screen.questions[1])
    )
    assert "--and 'k ahn' is the operator; a second person is another one" in screen.said
    found = retests.past("VN-0001").retest
    assert found is not None
    assert (found.second, found.number) == ("M. Osei", 2)


@pytest.mark.parametrize(
    ("tests", "allowed", "second"),
    [
        pytest.param(1, 0, "needed", id="none-allowed"),
        pytest.param(1, 1, "", id="the-one"),
        pytest.param(3, 3, "", id="the-last-of-three"),
        pytest.param(4, 3, "needed", id="one-more-than-three"),
    ],
)
def test_the_limits_say_how_many_retests_one_person_may_make(tmp_path: Path, nobody, tests, allowed, second):
    """At the bound it is still allowed."""
    for _ in range(tests):
        closed(tmp_path, outcome=FAIL)
    alone, _ = desk(tmp_path, allowed=allowed, said=Answer(Reason.RESEATED))
    if second:
        with pytest.raises(SetupError, match="name one with --and, or write down the rework with batchtest note"):
            alone.require(["VN-0001"])
        assert retest(tmp_path, allowed=allowed, said=Answer(Reason.RESEATED, second="M. Osei")).second == "M. Osei"
    else:
        assert retest(tmp_path, allowed=allowed, said=Answer(Reason.RESEATED, second="M. Osei")).second == ""


def test_where_nobody_can_be_asked_the_cure_is_told_before_anything_starts(tmp_path: Path, nobody):
    """Names the boards, what became of one, and the option."""
    for number in range(1, 8):
        closed(tmp_path, f"VN-000{number}", outcome=FAIL)
    retests, _ = desk(tmp_path)
    with pytest.raises(SetupError) as found:
        retests.require([f"VN-000{number}" for number in range(1, 9)])
    assert re.fullmatch(
        r"tested before in batch spring-1: VN-0001, VN-0002, VN-0003, VN-0004, VN-0005 and 2 more \(VN-0001 attempt 1 "
        r"before: FAIL on .*\); say why with --reason re-seated\|reworked\|bench-mended\|golden-check\|other .*",
        str(found.value),
    )
    with pytest.raises(SetupError, match="say why with --reason"):
        retests.admit("VN-0003")


def test_a_board_that_failed_in_another_batch_is_told(tmp_path: Path, nobody):
    """A new batch needs no reason, but nobody shall not have known."""
    closed(tmp_path, outcome=FAIL, cause="logic is low", batch="winter")
    retests, screen = desk(tmp_path)
    assert retests.admit("VN-0001")
    assert screen.said == ["VN-0001 did not pass in batch winter: FAIL on 2026-03-02 08:15 +00:00: logic is low"]


def test_notes_are_known_before_the_board_is_tested(tmp_path: Path, nobody):
    """They are said, and carried by the record."""
    closed(tmp_path, outcome=Outcome.STOPPED)
    note = write_note(tmp_path, a_note(kind=NoteKind.CORRECTION, text="the operator was M. Osei"))
    retests, screen = desk(tmp_path)
    assert retests.admit("VN-0001")
    assert retests.past("VN-0001").notes == (note,)
    assert screen.said[-1].endswith("note 1, correction by K. Ahn, 2026-03-03 10:00 +00:00: the operator was M. Osei")


@pytest.mark.parametrize(
    ("written", "message"),
    [
        pytest.param("reseated", "did you mean 're-seated'?", id="near-miss"),
        pytest.param("other", "says nothing; write it such as 'other: the lid was open'", id="other-without-text"),
        pytest.param("other: " + "x" * 241, "write 240 letters at most", id="long"),
        pytest.param("other: \x1b[2J", "will not do", id="for-the-terminal"),
    ],
)
def test_what_is_no_reason_is_refused(written, message):
    """With the cure."""
    with pytest.raises(SetupError, match=re.escape(message)):
        parse_reason(written)


def test_a_second_person_who_is_none_is_refused_beforehand():
    """Exit code 2, before anything starts."""
    with pytest.raises(SetupError, match="--and 'K AHN' is the operator"):
        answer_of(None, "K AHN", "K. Ahn")
    assert answer_of(None, " M.  Osei", "K. Ahn") == Answer(second="M. Osei")
    with pytest.raises(SetupError, match="--and: '' is no name of a person"):
        answer_of(None, " ", "K. Ahn")
