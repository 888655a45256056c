"""A whole review: what it keeps apart, what it says first, and that nothing breaks on what little there is."""

from __future__ import annotations

import dataclasses
import json
from datetime import UTC, datetime

import pytest

from batchtest.review.answers import Request, build, review
from batchtest.review.answers.model import Dimension, LeftOut

from .rows import (
    HOUR_US,
    Answers,
    Causes,
    Doubts,
    Outlier,
    Stops,
    boards,
    individuals,
    measured,
    micro,
    row,
    totals,
)

REQUEST = Request(made=datetime(2026, 11, 30, 12, 0, tzinfo=UTC), engine="duckdb")
QUIET = [5.0 + 0.001 * (place * 7 % 11 - 5) for place in range(40)]


def answers(values=QUIET, *, whole=None, extra=(), batches=None, measurements=None):
    """Forty quiet boards in two batches, unless something else is said."""
    whole = whole or boards(len(values))
    half = len(values) // 2
    measurements = measurements or [measured(values)]
    return Answers(
        rows=[totals(boards=whole.boards, batches=2, first_us=0, last_us=HOUR_US), whole, *measurements,
              *individuals(values, measurements[0].lower, measurements[0].upper), *extra],
        by={
            ("batch",): batches
            or [
                boards(half, batch="a", first_us=1), boards(len(values) - half, batch="b", first_us=2),
                measured(values[:half], batch="a"), measured(values[half:], batch="b"),
            ]
        },
    )  # fmt: skip


def advice(asked, request=REQUEST):
    """Sentences of what is worth acting on."""
    return [each.sentence for each in review(asked, request).worth_acting_on]


def test_a_review_of_quiet_boards_says_so():
    """Nothing stands out, nothing is kept apart, and all of it goes into JSON."""
    found = review(answers(), REQUEST)
    assert [each.sentence for each in found.worth_acting_on] == ["Nothing stands out among 40 boards."]
    assert found.notices == ()
    (board,) = found.boards
    assert (board.yields.first_pass.count, board.yields.rolled.share) == (40, 1.0)
    assert [grouping.by for grouping in board.groupings] == [Dimension.BATCH]
    (only,) = board.measurements
    assert [chart.kind for chart in only.charts] == [
        "individuals", "moving range", "weighted mean", "mean", "standard deviation",
    ]  # fmt: skip
    assert (only.capability.count, only.part_average.count, len(only.shifts)) == (40, 40, 1)
    assert json.loads(json.dumps(dataclasses.asdict(found)))["made"] == "2026-11-30T12:00:00+00:00"


def test_what_was_looked_at_is_said():
    """Times are in UTC; a review of nothing has none."""
    found = review(answers(), dataclasses.replace(REQUEST, where=("batch is spring",))).looked
    assert (found.first, found.last) == ("1970-01-01T00:00:00+00:00", "1970-01-01T01:00:00+00:00")
    assert (found.boards, found.batches, found.where, found.simulated) == (40, 2, ("batch is spring",), False)
    nothing = review(Answers(rows=[totals(simulated=2, waived=1)]), REQUEST)
    assert (nothing.looked.first, nothing.looked.simulated, nothing.looked.waived) == ("", True, 1)
    assert nothing.boards == ()


def test_limits_that_changed_are_told_apart_and_said():
    """Two pairs of limits are two measurements, each marked, and a notice names both."""
    rows = [measured(QUIET), measured([5.0] * 9, upper=5.2), measured([5.0] * 9, unit="1")]
    found = review(answers(measurements=rows), REQUEST)
    assert [each.what.changed for each in found.boards[0].measurements] == [True] * 3
    assert found.notices == (
        "vent: logic @ load point 1 was judged by different limits, and each is told apart: 4.750 V to 5.200 V; "
        "4.750 V to 5.250 V",
        "vent: logic @ load point 1 was recorded in different units, and each is told apart: 1, V",
    )


def test_a_measurement_that_moved_in_the_procedure_is_one():
    """With the same name, unit and limits it is one measurement, wherever it stood."""
    rows = [measured(QUIET[:15], phase="soft start"), measured(QUIET[15:])]
    (found,) = review(answers(measurements=rows), REQUEST).boards[0].measurements
    assert found.moments.count == 40


@pytest.mark.parametrize(
    ("limits", "shown"),
    [
        pytest.param((4.75, None), "from 4.750 V", id="lower"),
        pytest.param((None, 5.25), "up to 5.250 V", id="upper"),
        pytest.param((None, None), "no limits", id="none"),
    ],
)
def test_open_limits_are_named_as_such(limits, shown):
    """A bound that is not there is not written as a number."""
    (said,) = review(answers(measurements=[measured(QUIET), measured([5.0], *limits)]), REQUEST).notices
    assert shown in said


def test_a_rail_that_was_renamed_is_not_pooled_but_said():
    """Two names that share no batch and are alike in all else may be one; as soon as a batch has both they are two."""
    names = {"name": "main @ load point 1", "point": "main"}
    rows = [measured(QUIET[:20]), measured(QUIET[20:], **names)]
    apart = [boards(20, batch="a"), boards(20, batch="b"), measured(QUIET[:20], batch="a"),
             measured(QUIET[20:], batch="b", **names)]  # fmt: skip
    (said,) = review(answers(measurements=rows, batches=apart), REQUEST).notices
    assert said.startswith("vent: no batch has both logic @ load point 1 and main @ load point 1")
    both = [*apart, measured(QUIET[20:], batch="a", **names)]
    assert review(answers(measurements=rows, batches=both), REQUEST).notices == ()


@pytest.mark.parametrize(
    ("whole", "said"),
    [
        pytest.param(boards(1), "one board was tested; nothing can be compared", id="one"),
        pytest.param(boards(0, 9), "none of 9 boards passed at first", id="all-failed"),
        pytest.param(boards(9, 1, reworked=1), "1 board tested again after a rework", id="reworked"),
    ],
)
def test_what_the_numbers_cannot_say_is_said(whole, said):
    """One board, or only failed ones, is no traceback and no bare number."""
    assert said in " ".join(review(answers(QUIET[: whole.boards], whole=whole), REQUEST).notices)


def test_hosts_and_reference_boards_are_said_to_be_left_out():
    """Attempts of the other kind and those at reference boards are in no yield, and counted aloud."""
    asked = answers()
    asked.rows[0] = totals(others=3, golden=2, boards=40)
    assert [said.partition(" ")[0] for said in review(asked, REQUEST).notices] == ["3", "2"]


def test_the_cause_of_most_failures_is_named_first():
    """Six of forty failed, four by one cause, and doubts and stops weigh less."""
    asked = answers(
        whole=boards(34, 6),
        extra=[
            row(Causes, outcome="fail", cause="logic-short", boards=4),
            row(Causes, outcome="fail", cause="bias-drop", boards=2),
            row(Stops, outcome="stopped", cause="meter: no reply", attempts=6),
            row(Doubts, name="logic @ load point 1", cause="no reading", readings=2),
        ],
    )
    assert advice(asked) == [
        "vent: 6 of 40 boards did not pass at first, 4 of them by logic-short; find that cause first.",
        "vent: 6 attempts told nothing of a board, 6 of them stopped by meter: no reply; mend the bench, not "
        "the boards.",
        "vent: 2 readings in doubt, 2 of them for this reason: no reading, most at logic @ load point 1.",
    ]


@pytest.mark.parametrize(
    ("boards_by", "words"),
    [
        pytest.param((1, 1, 1), "no two by the same cause: a, b, c; diagnose each.", id="all-single"),
        pytest.param((3, 3, 1), "no cause is ahead with 3 of them: a, b; diagnose each.", id="tie"),
        pytest.param((3, 1, 1), "3 of them by a; find that cause first.", id="one-ahead"),
    ],
)
def test_no_cause_is_called_the_first_that_is_not_ahead(boards_by, words):
    """Single failures are no order of causes."""
    extra = [
        row(Causes, outcome="fail", cause=cause, boards=count) for cause, count in zip("abc", boards_by, strict=True)
    ]
    (first,) = advice(answers(whole=boards(40 - sum(boards_by), sum(boards_by)), extra=extra))
    assert first.endswith(words)


def test_boards_to_come_are_thought_of_where_all_passed():
    """All forty lie inside, and yet the interval for nineteen of twenty leaves the limits."""
    (first,) = advice(answers(measurements=[measured(QUIET, 4.994, 5.006)]))
    assert first.startswith("vent: all 40 boards passed logic @ load point 1, and yet boards to come may not")
    assert "interval for 95 % of them leaves the limits (Ppk 0.6" in first


def test_a_board_that_lies_apart_says_nothing_of_boards_to_come():
    """What one odd board makes of the spread is no forecast."""
    values = [*QUIET[:39], 4.8]
    (first,) = advice(answers(values, measurements=[measured(values, None, 5.05)]))
    assert first == "Nothing stands out among 40 boards."


def test_recovered_boards_are_to_be_watched():
    """Five of six that passed later unchanged point at contacts rather than boards."""
    (first,) = advice(answers(whole=boards(34, 6, recovered=5)))
    assert first.startswith("vent: 5 of 6 boards that did not pass at first did later, unchanged; look at contacts")


def test_a_batch_that_is_worse_is_named_with_both_shares():
    """A clear difference is a sentence with its corrected probability."""
    batches = [boards(20, batch="a", first_us=1), boards(8, 12, batch="b", first_us=2)]
    (first,) = advice(answers(whole=boards(28, 12), batches=batches))
    assert first.startswith(
        "vent: batch b is worse than a: 40 % (8 of 20) at first pass against 100 % (20 of 20), p = "
    )


def test_passed_boards_that_lie_apart_are_named_before_they_ship():
    """The farthest of them is named with its value."""
    apart = [
        row(Outlier, name="logic @ load point 1", unit="V", lower=4.75, upper=5.25, serial="VN-0007", verdict="pass",
            outcome="pass", found=1, value_micro=micro(5.2),
            first_micro=micro(4.99), median_micro=micro(5.0), third_micro=micro(5.01))
    ]  # fmt: skip
    (first,) = advice(answers(extra=apart))
    assert first.endswith("farthest VN-0007: 5.200 V at logic @ load point 1; look before they ship.")


def test_tight_limits_and_the_newest_shift_are_said():
    """Readings near a limit weigh half a board each; a shift weighs by the room that it takes."""
    values = [*QUIET[:20], *[value + 0.2 for value in QUIET[20:]]]
    half = [boards(20, batch="a", first_us=1), boards(20, batch="b", first_us=2),
            measured(values[:20], batch="a"), measured(values[20:], batch="b")]  # fmt: skip
    found = advice(answers(values, batches=half, measurements=[measured(values, near_upper=9)]))
    assert found[:2] == [
        "vent: logic @ load point 1 in batch b is 200.3 mV higher; no reference board says whether it is the station's "
        "(before: a).",
        "vent: logic @ load point 1: 22.5 % (9 of 40) of the values lie within their uncertainty of a limit: measure "
        "better, or ask why.",
    ]


def test_records_in_no_number_are_worth_acting_on():
    """What is torn or still open is said among the first."""
    request = dataclasses.replace(REQUEST, left_out=(LeftOut(name="spring/VN-0001.1.csv", why="torn"),))
    (first,) = advice(answers(), request)
    assert first == "1 record or folder in no number here, such as spring/VN-0001.1.csv: torn."


def test_only_so_many_measurements_are_looked_into_closely():
    """Those on which boards failed come first, those without limits last; all of them are counted."""
    many = [measured(QUIET, name=f"quiet {number:02}") for number in range(build.CHARTED)]
    failed = measured([*QUIET[:39], 5.4], name="the failed one")
    free = measured(QUIET, None, None, name="a free one")
    asked = answers(measurements=[*many, free, failed])
    found = {each.what.name: each for each in review(asked, REQUEST).boards[0].measurements}
    assert len(found) == build.CHARTED + 2
    assert found["the failed one"].shifts == ()
    assert ("Individual", ()) in asked.asked
    wanted = {name for name, each in found.items() if each.limit_fit is not None}
    assert wanted == set(found) - {"a free one"}


def test_measurements_come_in_the_order_of_the_procedure():
    """Cold readings before those under load, load points in their order, what no procedure knows last."""
    rows = [
        measured(QUIET, name="c", phase="load", load_point=1), measured(QUIET, name="b", phase="load", load_point=0),
        measured(QUIET, name="z", phase="gate", load_point=None), measured(QUIET, name="a", phase="unknown"),
    ]  # fmt: skip
    found = review(answers(measurements=rows), REQUEST).boards[0].measurements
    assert [each.what.name for each in found] == ["z", "b", "c", "a"]


def test_each_question_is_asked_once():
    """What was asked for all measurements is not asked again for some."""
    asked = answers()
    review(asked, dataclasses.replace(REQUEST, by=(Dimension.BATCH, Dimension.BATCH)))
    assert len(asked.asked) == len(set(asked.asked))
