"""The page of a review: everything that is said stands there, whole, without script or network."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from batchtest.errors import RecordError
from batchtest.pages.review import MOST_DRAWN, review_page, write_review_page
from batchtest.review.answers.model import (
    Bar,
    BatchShift,
    Dimension,
    Interval,
    MeasurementReview,
    Review,
    Share,
    Signal,
)
from test_pages.html import Page
from test_pages.review_examples import a_review, board, few, measurement


@pytest.fixture(scope="module")
def forty() -> str:
    """The page of forty boards in two batches."""
    return review_page(a_review())


def empty() -> Review:
    """A review of a board type of which no board was tested, only stopped."""
    known = board()
    nothing = Share(
        count=0, of=0, share=None, exact=Interval(lower=0.0, upper=1.0), wilson=Interval(lower=0.0, upper=1.0)
    )
    yields = replace(
        known.yields,
        first_pass=nothing,
        final=nothing,
        rolled=replace(known.yields.rolled, share=None) if known.yields.rolled else None,
        recovered=None,
    )
    groups = tuple(replace(group, yields=yields) for group in known.groupings[0].groups)
    bare = replace(
        known,
        yields=yields,
        groupings=(replace(known.groupings[0], groups=groups, confounded=None),),
        pareto=replace(known.pareto, causes=(), other=0),
        stops=(),
        stop_chart=None,
        doubts=(),
        comparisons=(),
        measurements=(),
        repaired=(),
    )
    return replace(a_review(), boards=(bare,), worth_acting_on=(), notices=())


def test_it_is_one_whole_file_that_needs_nothing(forty: str):
    """Every element is closed, every id is there once, nothing is fetched and nothing runs."""
    page = Page(forty)
    ids = [known["id"] for _, known in page.elements if "id" in known]
    assert page.faults == []
    assert len(ids) == len(set(ids))
    assert not page.all("script", "link", "img", "iframe", "object")
    assert not [known for _, known in page.elements if known.get("src") or known.get("href", "#")[0] != "#"]
    assert "url(http" not in forty


def test_what_repairs_taught_stands_by_part_and_month(forty: str):
    """How often a part alone was the cure, when, and how often a finding had named it first."""
    assert "R5B 5 4 1 3 2 of 3 2026-02: 1, 2026-03: 2" in Page(forty).text
    assert "What repairs taught" not in review_page(empty())


def test_what_is_worth_acting_on_comes_first(forty: str):
    """Before any yield, then what was kept apart or left out."""
    text = Page(forty).text
    order = ("Worth acting on first", "Half of the boards that fail", "Kept apart", "limits changed", "torn: its last")
    places = [text.index(said) for said in (*order, "first-pass yield")]
    assert places == sorted(places)


def test_every_yield_stands_with_count_and_both_intervals(forty: str):
    """What it is of is beside it, and what each means is below."""
    text = Page(forty).text
    assert "first-pass yield 39 of 40 98 % 82 to 100 % 82 to 100 %" in text
    assert "rolled-throughput yield 62 steps 98 %" in text
    assert "retest rate 1 retest 0.025 a board" in text
    assert "In no yield: 2 attempts stopped, 1 refused, 1 board never worked through." in text
    assert "boards that passed at the first attempt that was worked through" in text


def test_every_chart_is_named_and_has_its_numbers_as_a_table(forty: str):
    """As many tables as charts, each chart with a title, words for what it shows, and no text lost."""
    page = Page(forty)
    charts = [known for _, known in page.all("svg") if known.get("class") == "chart"]
    tables = [known for _, known in page.all("table") if known["class"] == "plain figures"]
    assert len(charts) == len(page.all("figure")) == len(tables) == 11
    assert all(known["role"] == "img" for known in charts)
    named = {known["id"] for _, known in page.all("title", "desc") if "id" in known}
    assert {name for known in charts for name in known["aria-labelledby"].split()} <= named


def test_a_board_outside_its_limits_is_said_and_drawn_apart(forty: str):
    """In words, and by the thick edge of its bar; a run rule by a diamond."""
    text = Page(forty).text
    assert "worst VN-0040, outside its limits by 60.0 mV" in text
    assert "1 outside, drawn with thick edges" in text
    assert "a run rule is met at VN-0040, drawn as diamonds" in text


def test_no_figure_of_merit_below_its_count(forty: str):
    """The reason stands in its place."""
    text = Page(forty).text
    assert "no figure below n = 25; here n = 2" in text
    assert "Ppk 1.2" in text


def test_what_makes_a_figure_of_merit_untrue_stands_beside_it():
    """In the table, and above the charts."""
    found = replace(measurement("logic", 1), apart="one value lies far from all others")
    text = Page(review_page(_of(found))).text
    assert text.count("not to be trusted") == 2
    assert text.count("one value lies far from all others") == 2


def test_cannot_tell_is_said(forty: str):
    """Of a pair of batches, and of groups that differ in more than one way."""
    text = Page(forty).text
    assert "2026-01-b against all others: cannot tell (19 of 20 against 20 of 20, p = 1 after Holm)" in text
    assert "2026-01-a is worse than all others" in text
    assert "By batch, cannot tell what makes a difference. Each batch was tested on one fixture only." in text


def test_a_rail_has_a_first_pass_yield_and_nothing_more():
    """What belongs to whole boards has no column in its table."""
    known = board(rails=0)
    groups = tuple(
        replace(group, yields=replace(group.yields, final=None, rolled=None, retested=None, recovered=None))
        for group in known.groupings[0].groups
    )
    rails = replace(known, groupings=(replace(known.groupings[0], by=Dimension.RAIL, groups=groups),))
    whole, of_rails = (Page(review_page(replace(a_review(), boards=(each,)))).text for each in (known, rails))
    assert "95 % Wilson final rolled-throughput" in whole
    assert "First-pass yield by rail" in of_rails
    assert "95 % Wilson final" not in of_rails


def test_a_hundred_batches_are_drawn_side_by_side_and_listed(forty: str):
    """One chart for all, its table folded; only so many measurements are drawn, and the page says which."""
    page = Page(review_page(a_review(batches=100, rails=MOST_DRAWN + 3)))
    assert "in order from 2026-01-a to 2026-12-a" in page.text
    assert f"Drawn below: the {MOST_DRAWN} whose mean lies fewest standard deviations from a limit." in page.text
    assert "And 87 more pairs that nobody can tell." in page.text
    assert len([known for _, known in page.all("section") if known.get("class") == "measured"]) == MOST_DRAWN


def test_a_review_of_nothing_tested_says_so():
    """No chart, no share, no traceback."""
    page = Page(review_page(empty()))
    assert page.faults == []
    assert "Nothing here asks for action." in page.text
    assert "first-pass yield 0 of 0 none" in page.text
    assert "Every board that was tested passed at first." in page.text
    assert not [known for _, known in page.all("svg") if known.get("class") == "chart"]


@pytest.mark.parametrize(
    ("looked", "banner"),
    [
        pytest.param({"simulated": True}, "SIMULATED BENCH", id="simulated"),
        pytest.param({"waived": 3}, "3 attempts under a waiver", id="waived"),
        pytest.param({"where": ("batch spring",)}, "only batch spring", id="conditions"),
    ],
)
def test_what_must_be_seen_stands_at_the_head(looked: dict[str, object], banner: str, forty: str):
    """And only where it is so."""
    assert banner in Page(review_page(a_review(rails=0, **looked))).text
    assert banner not in Page(forty).text


def test_text_from_records_stays_text():
    """A name that looks like markup is shown as it is, in tables and in charts."""
    sly = '<b>&"role="x" </svg>'
    cause = replace(board().pareto.causes[0], name=sly)
    known = replace(board(rails=0), pareto=replace(board().pareto, causes=(cause,)))
    page = Page(review_page(replace(a_review(), boards=(known,))))
    assert page.faults == []
    assert page.text.count(sly) == 2


def test_shifts_are_drawn_from_three_batches_on():
    """With the reference board's own shift taken off, and said where it was not measured."""
    one = measurement("logic", 1).shifts[0]
    shifts = (one, replace(one, batch="2026-07-c", before="2026-07-b", reference=None, interval=None))
    page = Page(review_page(_with(shifts)))
    assert "From batch to batch" in page.text
    assert "for 1 of 2 no reference board was measured: the bench's own drift is in them" in page.text
    assert "2026-07-c against 2026-07-b: mean moved by 0.001 V: cannot tell" in page.text
    assert "From batch to batch" not in Page(review_page(_with((one,)))).text


@pytest.mark.parametrize(
    ("lower", "upper", "words"),
    [
        pytest.param(None, 5.15, "below 5.09", id="upper"),
        pytest.param(4.85, None, "above 4.9", id="lower"),
    ],
)
def test_a_measurement_with_one_limit_has_one_sided_words(lower: float | None, upper: float | None, words: str):
    """Limits, tolerance interval and histogram know one side only."""
    found = measurement("logic", 1)
    ends = found.tolerance.exact if found.tolerance else Interval(lower=None, upper=None)
    sided = Interval(lower=None if lower is None else ends.lower, upper=None if upper is None else ends.upper)
    one = replace(
        found,
        what=replace(found.what, lower=lower, upper=upper),
        tolerance=replace(found.tolerance, exact=sided, howe=None) if found.tolerance else None,
        part_average=replace(found.part_average, outliers=(), found=0) if found.part_average else None,
    )
    text = Page(review_page(replace(a_review(), boards=(replace(board(), measurements=(one,)),)))).text
    assert f"95 % of boards to come lie {words}" in text
    assert "Howe" not in text
    assert "no passed board lies apart from its fellows" in text


def test_what_lies_below_every_class_is_drawn_as_one_more():
    """An open class gets the width of its neighbours; without any width there is no drawing."""
    found = measurement("logic", 1)
    below = Bar(lower=None, upper=4.82, count=2)
    text = Page(review_page(_of(replace(found, histogram=(below, *found.histogram))))).text
    assert "42 boards, in V, limits 4.85 to 5.15 V; 3 outside" in text
    assert "open 4.820 V 2" in text
    assert "All boards" not in Page(review_page(_of(replace(found, histogram=(below,))))).text


def test_many_signals_are_named_in_part_and_counted():
    """The drawing has them all."""
    found = measurement("logic", 1)
    signal = Signal(rule="run", words="eight on one side of the centre")
    chart = replace(found.charts[0], points=tuple(replace(one, signals=(signal,)) for one in found.charts[0].points))
    text = Page(review_page(_of(replace(found, charts=(replace(chart, note="points resemble each other"),))))).text
    assert "a run rule is met at VN-0001, VN-0002, VN-0003, VN-0004 and 36 more, drawn as diamonds; points" in text
    assert "run: eight on one side of the centre" in text


def test_a_measurement_without_a_value_says_so():
    """All unread: no mean, no margin, no chart."""
    none = replace(few("logic"), passed=0, failed=0, unread=2, moments=None, margin=None, limit_fit=None)
    text = Page(review_page(replace(a_review(), boards=(replace(board(), measurements=(none,)),)))).text
    assert "0 passed, 2 unread no value" in text


def test_it_is_written_whole_or_not_at_all(tmp_path: Path, forty: str):
    """Its folder is made; a place that takes no file is named."""
    write_review_page(tmp_path / "new" / "review.html", forty)
    assert (tmp_path / "new" / "review.html").read_text() == forty
    (tmp_path / "file").touch()
    with pytest.raises(RecordError, match=r"file/review\.html cannot be written"):
        write_review_page(tmp_path / "file" / "review.html", forty)


def _with(shifts: tuple[BatchShift, ...]) -> Review:
    return _of(replace(measurement("logic", 1), shifts=shifts))


def _of(found: MeasurementReview) -> Review:
    return replace(a_review(), boards=(replace(board(), measurements=(found,)),))
