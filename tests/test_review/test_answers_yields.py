"""Yields, comparisons and causes from counted rows: what stands in which number, and what cannot be told."""

from __future__ import annotations

import math

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.records.batch import exact_yield
from batchtest.review.answers import causes
from batchtest.review.answers.comparing import MOST_IN_PAIRS, comparisons
from batchtest.review.answers.model import Dimension, Group, Grouping, Told
from batchtest.review.answers.words import percent
from batchtest.review.answers.yields import groupings, rolled, share, yields

from .rows import HOUR_US, Answers, Causes, Doubts, Spots, Stops, boards, measured, row


def grouping(*passed_of, by=Dimension.BATCH, confounded=None):
    """Groups "1", "2" and so on of so many passed boards of so many."""
    groups = tuple(
        Group(name=str(number), yields=yields(boards(passed, of - passed), (), None))
        for number, (passed, of) in enumerate(passed_of, start=1)
    )
    return Grouping(by=by, groups=groups, confounded=confounded)


@settings(deadline=None)
@given(st.integers(0, 300), st.integers(0, 300))
def test_first_pass_yield_is_the_one_of_the_batch_page(passed, failed):
    """A review and a batch's page say the same of the same boards."""
    found, expected = share(passed, passed + failed), exact_yield(passed, passed + failed)
    assert (found.count, found.of, found.share) == (expected.passed, expected.boards, expected.share)
    assert (found.exact.lower, found.exact.upper) == pytest.approx((expected.lower, expected.upper))


def test_stopped_and_refused_attempts_are_in_no_yield():
    """Two attempts the bench stopped and one that was refused change no share; a board without any other is said."""
    stops = [
        row(Stops, outcome="stopped", cause="meter: no reply", attempts=2),
        row(Stops, outcome="refused", attempts=1),
    ]
    found = yields(boards(8, 2, untested=1), stops, None)
    assert (found.first_pass.count, found.first_pass.of) == (8, 10)
    assert (found.stopped, found.refused, found.begun, found.never_tested) == (2, 1, 11, 1)


def test_doubtful_is_no_pass_and_retests_are_counted_apart():
    """Of three that did not pass at first one recovers; final yield counts it, first-pass yield does not."""
    found = yields(boards(7, 2, 1, passed_last=8, retested=2, retests=3, recovered=1), (), None)
    assert (found.first_pass.count, found.final.count) == (7, 8)
    assert (found.recovered.count, found.recovered.of) == (1, 3)
    assert (found.retested.count, found.retests, found.retests_per_board) == (2, 3, 0.3)


def caused(cause, boards):
    """Boards with a first cause."""
    return row(Causes, outcome="fail", cause=cause, boards=boards)


def test_rolled_yield_is_the_product_over_measurements():
    """One of ten and then one of nine: 0.9 times 8/9, over the nine boards that the last step saw."""
    steps = [measured([5.0] * 10, name="a"), measured([5.0] * 9, name="b"), measured([], name="c")]
    found = rolled(10, steps, [caused("a", 1), caused("b", 1)])
    assert found.share == pytest.approx(0.8)
    assert (found.steps, found.boards) == (2, 9)
    assert found.interval.lower < 0.8 < found.interval.upper


def test_what_follows_from_a_first_cause_does_not_lower_the_rolled_yield():
    """A dead rail fails both measurements of one board: it counts once."""
    steps = [measured([5.0] * 9 + [0.0], name="a"), measured([5.0] * 9 + [0.0], name="b")]
    assert rolled(10, steps, [caused("a", 1)]).share == 0.9


def test_a_measurement_with_changed_limits_is_one_step():
    """Boards before and after the change are one step's boards, not two steps' products."""
    found = rolled(10, [measured([5.0] * 5), measured([5.0] * 5, lower=4.8)], [caused("logic @ load point 1", 1)])
    assert (found.share, found.steps, found.boards) == (0.9, 1, 10)


def test_a_cause_that_is_no_measurement_is_a_step_of_all_boards():
    """A board that was switched off before a reading counts against all that were tested."""
    found = rolled(20, [measured([5.0] * 19)], [caused("abort", 1)])
    assert (found.share, found.steps, found.boards) == (0.95, 2, 19)


@settings(deadline=None)
@given(st.lists(st.floats(0.5, 1.0), min_size=1, max_size=30))
def test_one_share_varies_no_less_than_a_product_of_independent_steps(steps):
    """What the interval of the rolled yield stands on."""
    product = math.prod(steps)
    assert product**2 * sum((1 - p) / p for p in steps) <= product * (1 - product) + 1e-12


def test_nothing_judged_has_no_rolled_yield():
    """No step is not a yield of 1."""
    assert rolled(0, [], []).share is None


def test_batches_come_by_time_and_operators_by_name():
    """People are sorted by name, never by what their boards did."""
    asked = Answers(
        by={
            ("batch",): [boards(9, 1, batch="a", first_us=2 * HOUR_US), boards(5, 5, batch="b", first_us=HOUR_US)],
            ("operator",): [boards(5, 5, operator="Zoe"), boards(9, 1, operator="Ann")],
            ("batch", "operator"): [boards(5, 5, batch="b", operator="Zoe"), boards(9, 1, batch="a", operator="Ann")],
        }
    )
    batches, people = groupings(asked, (Dimension.BATCH, Dimension.OPERATOR))["vent"]
    assert [group.name for group in batches.groups] == ["b", "a"]
    assert [group.name for group in people.groups] == ["Ann", "Zoe"]
    assert comparisons(people) is None


def test_groups_that_share_no_batch_are_called_confounded():
    """A fixture that has its batches to itself may differ by them; one batch on both takes that away."""
    rows = [boards(5, 5, batch="a", fixture="one"), boards(9, 1, batch="b", fixture="two")]
    asked = Answers(by={("fixture",): rows, ("batch", "fixture"): rows})
    (found,) = groupings(asked, (Dimension.FIXTURE,))["vent"]
    assert "no batch was tested with more than one fixture" in found.confounded
    asked.by["batch", "fixture"] = [*rows, boards(5, 0, batch="a", fixture="two")]
    assert groupings(asked, (Dimension.FIXTURE,))["vent"][0].confounded is None


def test_a_group_with_stops_alone_is_there():
    """A station that only ever refused is a group without a tested board."""
    asked = Answers(by={("station",): [row(Stops, station="far", outcome="refused", attempts=2)]})
    (found,) = groupings(asked, (Dimension.STATION,))["vent"]
    assert [(group.name, group.yields.refused, group.yields.first_pass.share) for group in found.groups] == [
        ("far", 2, None)
    ]


def test_rails_and_load_points_are_counted_by_their_readings():
    """Load points are named as people count them; a derived value belongs to none and is left out."""
    asked = Answers(
        by={
            ("point",): [row(Spots, point="logic", boards=10, passed=9, failed=1)],
            ("load_point",): [
                row(Spots, load_point=1, boards=9, passed=8, failed=1),
                row(Spots, load_point=0, boards=10, passed=10),
                row(Spots, load_point=None, boards=10, passed=10),
            ],
        }
    )
    rails, points = groupings(asked, (Dimension.RAIL, Dimension.LOAD_POINT))["vent"]
    assert [(group.name, group.yields.first_pass.count) for group in rails.groups] == [("logic", 9)]
    assert [(group.name, group.yields.first_pass.count) for group in points.groups] == [("1", 10), ("2", 8)]
    assert comparisons(rails) is None


def test_two_of_twenty_against_none_cannot_be_told():
    """p = 0.49 is no difference, and that is said."""
    found = comparisons(grouping((18, 20), (20, 20)))
    assert [each.told for each in found.compared] == [Told.CANNOT_TELL]
    assert found.told.startswith("cannot tell the 2 groups by batch apart")
    assert "p = 0.49 corrected for 1 comparison" in found.told


def test_a_group_that_nobody_was_tested_in_has_no_percentage():
    """Nothing counted is not 0 %."""
    assert percent(share(0, 0)) == "none tested"


def test_more_groups_than_can_be_looked_up_have_no_rolled_yield():
    """Two hundred and one batches are not asked for every step of each; the other yields stand."""
    asked = Answers(by={("batch",): [boards(1, batch=f"{number}") for number in range(201)]})
    (found,) = groupings(asked, (Dimension.BATCH,))["vent"]
    assert {group.yields.rolled for group in found.groups} == {None}
    assert ("Measured", ("batch",)) not in asked.asked


def test_many_comparisons_take_a_difference_back():
    """5 of 20 against 0 of 20 stands alone (p = 0.047), and not among three pairs."""
    alone, among = comparisons(grouping((15, 20), (20, 20))), comparisons(grouping((15, 20), (20, 20), (20, 20)))
    assert [each.told for each in alone.compared] == [Told.WORSE]
    assert {each.told for each in among.compared} == {Told.CANNOT_TELL}


def test_the_worse_group_is_named_whichever_comes_first():
    """A sentence says who is worse, with both shares, and that another reason may stand behind it."""
    found = comparisons(grouping((40, 40), (20, 40), (39, 40), confounded="no batch was on both"))
    assert {each.told for each in found.compared} == {Told.BETTER, Told.WORSE, Told.CANNOT_TELL}
    assert found.told.startswith("batch 2 is worse than 1: 50 % (20 of 40) at first pass against 100 % (40 of 40)")
    assert found.told.endswith("; 1 more pair differs (no batch was on both)")


def test_too_many_groups_are_each_compared_with_all_others():
    """Thirteen groups are thirteen comparisons, not seventy-eight."""
    found = comparisons(grouping(*[(19, 20)] * MOST_IN_PAIRS, (5, 20)))
    assert len(found.compared) == MOST_IN_PAIRS + 1
    assert [each.one for each in found.compared if each.told is Told.WORSE] == ["13"]
    assert {each.other for each in found.compared} == {"all others"}


def test_one_group_is_compared_with_none():
    """A group without tested boards is no partner."""
    assert comparisons(grouping((19, 20), (0, 0))).told == "cannot compare: 1 group by batch with tested boards"


def test_first_causes_count_boards_and_keep_the_rest_as_other():
    """Ten causes are named; what is left is counted as other, and cumulates to less than all."""
    rows = [row(Causes, outcome="fail", cause=f"c{number:02}", boards=20 - number) for number in range(12)]
    rows.append(row(Causes, outcome="doubtful", cause="c00", boards=1))
    found = causes.pareto(rows, 1000)
    assert (found.causes[0].name, found.causes[0].boards) == ("c00", 21)
    assert (len(found.causes), found.other, found.other_causes) == (10, 9 + 10, 2)
    assert found.causes[-1].cumulative == pytest.approx(1 - 19 / found.boards)
    assert (found.tested, found.few) == (1000, False)


def test_few_failures_are_no_law():
    """Three failures make no order of causes; none at all make no cause."""
    assert causes.pareto([row(Causes, outcome="fail", cause="", boards=3)], 40).few
    assert causes.pareto([row(Causes, outcome="fail", cause="", boards=3)], 40).causes[0].name == "not named"
    assert causes.pareto([], 40).causes == ()


def test_doubts_are_told_by_reason_with_the_measurements_that_have_most():
    """Reasons come by how often, each with its three most frequent measurements."""
    rows = [
        row(Doubts, name=name, cause="no reading", readings=count)
        for name, count in (("a", 1), ("b", 4), ("c", 2), ("d", 3))
    ]
    found = causes.doubts([*rows, row(Doubts, name="a", cause="not settled", readings=11)])
    assert [(doubt.reason, doubt.readings, doubt.where) for doubt in found] == [
        ("not settled", 11, ("a",)),
        ("no reading", 10, ("b", "d", "c")),
    ]


def test_a_batch_with_many_stops_stands_out():
    """Stops by batch lie around their mean; one beyond three sigma is a signal, and sizes that differ are said."""
    batches = [
        Group(name=name, yields=yields(boards(size), [row(Stops, outcome="stopped", attempts=stops)], None))
        for name, size, stops in (("a", 40, 1), ("b", 40, 1), ("c", 40, 1), ("d", 40, 14), ("e", 20, 1))
    ]
    chart = causes.stop_chart(batches)
    assert [bool(point.signals) for point in chart.points] == [False, False, False, True, False]
    assert (chart.centre, chart.points[0].upper) == pytest.approx((3.6, 3.6 + 3 * math.sqrt(3.6)))
    assert "batches differ in size" in chart.note
    assert causes.stop_chart(batches[:3]).note == ""
    assert causes.stop_chart(batches[:1]) is None


def test_stops_come_by_how_often():
    """The bench's most frequent fault is read first."""
    rows = [row(Stops, outcome="refused", cause="cable", attempts=1), row(Stops, outcome="stopped", attempts=3)]
    assert [(stop.cause, stop.attempts) for stop in causes.stops(rows)] == [("not named", 3), ("cable", 1)]
