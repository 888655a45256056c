"""What a review looks like in a terminal: many groups cut short, plain letters, and everything loud that must be."""

from __future__ import annotations

from dataclasses import replace
from io import BytesIO, TextIOWrapper

import pytest
from rich.console import Console
from test_pages.review_examples import a_review, board, few, measurement

from batchtest.commands.review_files import tables
from batchtest.commands.review_view import ReviewView
from batchtest.pages.review_words import percent
from batchtest.review.answers.model import LeftOut, Review


def shown(review: Review, width: int = 80, encoding: str = "utf-8") -> str:
    """What stands on a screen that knows this encoding."""
    file = TextIOWrapper(BytesIO(), encoding=encoding, write_through=True)
    ReviewView(review, Console(file=file, width=width, highlight=False)).show()
    return file.buffer.getvalue().decode(encoding)  # type: ignore[attr-defined, no-any-return]


def one_limit() -> Review:
    """A review of a measurement with a lower limit alone."""
    found = measurement("logic", 1)
    return replace(
        a_review(), boards=(replace(board(), measurements=(replace(found, what=replace(found.what, upper=None)),)),)
    )


def words(text: str) -> str:
    """A screen as one line."""
    return " ".join(text.split())


def test_of_a_hundred_batches_the_last_are_listed_and_all_are_in_one_row():
    """What is not listed is counted, and said where it is."""
    text = shown(a_review(batches=100, rails=2))
    assert "2026-12-a" in text
    assert "2026-01-a 20 of 20" not in words(text)
    assert "88 earlier ones are not listed here; --page has all" in text
    row = text.partition("all 100, 0 to 100 %: ")[2].partition("88 earlier")[0]
    assert len("".join(row.split())) == 100
    assert set("".join(row.split())) == {"▇", "█"}


def test_what_repairs_taught_is_cut_short_too():
    """The parts that cured most boards, and how many more there are."""
    known = board()
    parts = tuple(replace(known.repaired[0], part=f"R{place}") for place in range(9))
    text = words(shown(replace(a_review(), boards=(replace(known, repaired=parts),)), width=100))
    assert "R5 5 4 1 3 2 of 3 2026-02: 1, 2026-03: 2" in text
    assert "R6" not in text
    assert "3 parts more; --page and --csv have all" in text


def test_waivers_and_what_was_left_out_are_loud():
    """Tape beside the word; names beyond the first few are counted."""
    left = tuple(LeftOut(name=f"VN-{place}.1.csv", why="torn") for place in range(8))
    text = words(shown(a_review(waived=2, where=("batch spring",), left_out=left)))
    assert "//// WAIVED //// 2 attempts under a waiver; their pages say what" in text
    assert "only batch spring" in text
    assert "VN-4.1.csv: torn and 3 more; --page and --json name all" in text


def test_pairs_that_differ_are_listed_and_the_rest_is_one_sentence():
    """At most a few of them."""
    known = board(batches=9)
    (compared,) = known.comparisons
    told = tuple(replace(one, told=compared.compared[0].told) for one in compared.compared)
    text = words(shown(replace(a_review(), boards=(replace(known, comparisons=(replace(compared, compared=told),)),))))
    assert text.count("is worse than all others (") == 5
    assert "and 4 more; --page has all" in text


def test_plain_letters_where_the_terminal_has_no_others():
    """Intervals, histograms and rows of groups have a form in ASCII, and nothing else comes through."""
    text = shown(a_review(batches=30), encoding="ascii")
    assert text.isascii()
    assert "---o" in text
    assert "|#" in text.replace(" ", "")
    assert ">= 4.85 V" in shown(one_limit(), encoding="ascii")


def test_a_figure_of_merit_that_is_not_to_be_trusted_is_marked():
    """And the mark is explained once."""
    found = replace(measurement("logic", 1), apart="one value lies far from all others")
    text = words(shown(replace(a_review(), boards=(replace(board(), measurements=(found,)),))))
    assert "(0.90 to 1.60) !" in text
    assert "! not to be trusted: values lie far from all others" in text
    assert "not to be trusted" not in shown(a_review())


@pytest.mark.parametrize("width", [80, 100, 120])
def test_nothing_is_wider_than_the_screen(width: int):
    """Whatever the width."""
    assert max(map(len, shown(a_review(batches=14), width=width).splitlines())) <= width


def test_a_review_of_little_leaves_out_what_is_not_there():
    """No causes, no groups, no measurements: no heading of theirs."""
    bare = replace(
        board(),
        groupings=(replace(board().groupings[0], groups=(), confounded=None),),
        pareto=replace(board().pareto, causes=()),
        comparisons=(),
        measurements=(),
    )
    text = shown(replace(a_review(), boards=(bare,), notices=(), worth_acting_on=()))
    for heading in ("by batch", "What failed first", "Nearest to their limits"):
        assert heading not in text
    assert "nothing here asks for action" in text


def test_a_measurement_without_classes_has_no_drawing():
    """Its count stands where a figure of merit would."""
    drawn = replace(few("core"), charts=measurement("core", 1).charts)
    unread = replace(drawn, moments=None, margin=None)
    text = words(shown(replace(a_review(), boards=(replace(board(), measurements=(drawn, unread)),)), width=120))
    assert "core 4.85 to 5.15 V n = 2 VN-0002 60.0 mV outside" in text


def test_tables_have_a_row_for_each_thing_and_no_text_that_is_run():
    """A batch that begins like a formula is made harmless when it is written, not here."""
    found = tables(a_review(batches=3))
    assert len(found["yields"]) == 1 + 3
    assert len(found["outliers"]) == 3
    assert {row["chart"] for row in found["charts"]} == {"count", "individuals", "moving range"}


@pytest.mark.parametrize(
    ("share", "of", "text"),
    [
        pytest.param(199 / 200, 200, "99.5 %", id="a-decimal-from-200"),
        pytest.param(1 - 1e-5, 100_000, "99.999 %", id="never-rounded-to-all"),
        pytest.param(1e-5, 100_000, "0.001 %", id="never-rounded-to-nothing"),
        pytest.param(1e-9, 10, "0.000000 %", id="six-decimals-at-most"),
        pytest.param(1.0, 7, "100 %", id="all"),
    ],
)
def test_a_share_is_written_with_what_its_count_can_bear(share: float, of: int, text: str):
    """What is not all is never written as all."""
    assert percent(share, of) == text
