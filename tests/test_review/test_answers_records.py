"""A review of kept records, from the files to the sentences, against what the batch's own summary says of them."""

from __future__ import annotations

import shutil
from datetime import UTC, datetime
from pathlib import Path

import pytest

from batchtest.records.batch import batch_summary
from batchtest.review.answers import Request, review
from batchtest.review.answers.model import Dimension
from batchtest.review.engine import open_engine, open_sources
from batchtest.review.questions import Selection

KEPT = Path(__file__).parent.parent / "test_records" / "old" / "2" / "reports"
REQUEST = Request(made=datetime(2026, 11, 30, tzinfo=UTC), engine="duckdb", by=tuple(Dimension))


@pytest.fixture(scope="module")
def reports(tmp_path_factory):
    """A reports folder of a version before this one, to be gathered."""
    folder = tmp_path_factory.mktemp("review") / "reports"
    shutil.copytree(KEPT, folder)
    return folder


@pytest.fixture(scope="module")
def found(reports):
    """The review of that folder by every dimension."""
    with open_sources(reports) as sources, open_engine(sources, Selection()) as engine:
        return review(engine, REQUEST)


@pytest.fixture(scope="module")
def summary(reports):
    """What the batch's own summary says."""
    return batch_summary(reports / "spring")


def test_yield_and_first_causes_are_those_of_the_batch_page(found, summary):
    """A review of one batch says what its page says, to the digit, intervals too."""
    (board,) = found.boards
    first = board.yields.first_pass
    assert (first.count, first.of, first.share) == (
        summary.first_pass.passed, summary.first_pass.boards, summary.first_pass.share,
    )  # fmt: skip
    assert (first.exact.lower, first.exact.upper) == (summary.first_pass.lower, summary.first_pass.upper)
    assert {cause.name: cause.boards for cause in board.pareto.causes} == summary.causes


def test_every_dimension_has_the_same_boards(found):
    """Groups by batch, fixture, cable, station, operator and month each add up to all boards."""
    (board,) = found.boards
    whole = board.yields.first_pass
    by = {grouping.by: grouping.groups for grouping in board.groupings}
    assert set(by) == set(Dimension)
    for dimension in set(Dimension) - {Dimension.RAIL, Dimension.LOAD_POINT}:
        assert sum(group.yields.first_pass.of for group in by[dimension]) == whole.of, dimension
        assert sum(group.yields.first_pass.count for group in by[dimension]) == whole.count, dimension
    assert [group.name for group in by[Dimension.LOAD_POINT]] == ["1", "2", "3"]


def test_every_histogram_holds_every_value(found):
    """Bars of a measurement add up to the values that its mean is of."""
    (board,) = found.boards
    closely = [each for each in board.measurements if each.histogram]
    assert closely
    for each in closely:
        assert sum(bar.count for bar in each.histogram) == each.moments.count, each.what.name
