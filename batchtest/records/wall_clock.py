"""The wall clock of the computer, which can be set back; durations are of another clock, and order is by number."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import datetime, timedelta
from itertools import pairwise
from pathlib import Path

from batchtest.nouns import Line
from batchtest.records.chain import read_head
from batchtest.records.kinds import newest_moment


def set_back(started: datetime, lines: Iterable[Line]) -> timedelta:
    """By how much the wall clock went back in an attempt, at its largest step; nought where it did not."""
    times = [started, *(line.time for line in lines)]
    return max((before - after for before, after in pairwise(times) if after < before), default=timedelta())


def behind(reports: Path, station: str, now: datetime) -> timedelta:
    """By how much the wall clock is behind what the newest record of a station says; nought where it is not.

    Raises
    ------
    RecordError : the head of the chain is damaged.
    """
    head = read_head(reports, station)
    newest = newest_moment(reports, head.record) if head else None
    return max(newest - now, timedelta()) if newest else timedelta()
