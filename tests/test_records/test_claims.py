"""Stations on one folder that test the same serial of the same batch at the same moment."""

from __future__ import annotations

from pathlib import Path

from claiming import race


def test_every_attempt_has_its_own_number_and_place_in_the_chain(tmp_path: Path):
    """Two stations with two processes each, ten attempts each: none lost, open or altered, and no chain forks."""
    found = race(tmp_path, ["bench-1", "bench-2"] * 2, 10, at_once=10)
    assert (found.attempts, found.numbers) == (40, 40)
    assert (found.lost, found.unclosed, found.altered, found.forked) == (0, 0, 0, 0)
