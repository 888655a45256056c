"""A span of time as it is typed: both ends in it, local where no offset says otherwise."""

from __future__ import annotations

import time
from collections.abc import Iterator
from datetime import datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.commands.span import span
from batchtest.errors import SetupError


@pytest.fixture
def far_east(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """Nine hours ahead."""
    monkeypatch.setenv("TZ", "XXX-9")
    time.tzset()
    yield
    monkeypatch.undo()
    time.tzset()


@pytest.mark.usefixtures("far_east")
@pytest.mark.parametrize(
    ("first", "last", "since", "until"),
    [
        pytest.param(
            "2026-11-03",
            "2026-11-03",
            "2026-11-03T00:00:00+09:00",
            "2026-11-03T23:59:59.999999+09:00",
            id="a-day-to-its-end",
        ),
        pytest.param(
            "2026-11-03T08:00",
            "2026-11-03 09:30",
            "2026-11-03T08:00:00+09:00",
            "2026-11-03T09:30:59.999999+09:00",
            id="a-minute-to-its-end",
        ),
        pytest.param(
            "2026-11-03T08:00:01+01:00",
            "2026-11-03T08:00:01.5Z",
            "2026-11-03T08:00:01+01:00",
            "2026-11-03T08:00:01.5+00:00",
            id="offsets",
        ),
    ],
)
def test_both_ends_are_in_the_span(first: str, last: str, since: str, until: str):
    """A day is all of it, where the person is."""
    assert span(first, last) == (datetime.fromisoformat(since), datetime.fromisoformat(until))


@pytest.mark.parametrize(
    ("first", "last", "message"),
    [
        pytest.param("2026-11-04", "2026-11-03", "the first is after the last; write the earlier one", id="crossed"),
        pytest.param("3.11.2026", "2026-11-03", r"'3\.11\.2026' is no time; write a day such as", id="no-time"),
        pytest.param("2026-11-03", "2026-02-30", "'2026-02-30': day .*; write a day such as", id="no-day"),
        pytest.param("2026-11-03T25:00", "2026-11-03", "hour must be in 0..23", id="no-hour"),
        pytest.param("0001-01-01T00:00:00+14:00", "2026-11-03", "--between '0001", id="before-all-time"),
        pytest.param("", "2026-11-03", "'' is no time", id="empty"),
    ],
)
def test_what_is_no_span_is_said_with_the_cure(first: str, last: str, message: str):
    """The value and how to write it."""
    with pytest.raises(SetupError, match=message):
        span(first, last)


@given(st.text(max_size=30), st.datetimes())
def test_whatever_is_typed_is_a_span_or_a_message(text: str, when: datetime):
    """Never a traceback."""
    for typed in (text, when.isoformat()):
        try:
            since, until = span(typed, typed)
        except SetupError:
            continue
        assert since <= until
