"""Matings of cables and fixtures: counted on from what a person wrote, per name, never by what is simulated."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from stations import demo_setup

from batchtest.errors import RecordError
from batchtest.files.library import Setup
from batchtest.files.matings import Matings
from batchtest.records.matings import count_mating, wear_of


def setup(used: int = 12, rated: int = 14, *, simulated: bool = False) -> Setup:
    """The demo, with a count of its cable and none of its fixture."""
    demo = demo_setup()
    bench = demo.bench if simulated else demo.bench.model_copy(update={"simulation": None})
    cable = demo.cable.model_copy(update={"matings": Matings(rated=rated, used=used)})
    fixture = demo.fixture.model_copy(update={"matings": None})
    return replace(demo, bench=bench, cable=cable, fixture=fixture)


def test_matings_are_counted_on_from_the_file(tmp_path: Path):
    """Over its rating is one more than rated."""
    counts = [count_mating(tmp_path, setup(), "spring-1", f"VN-000{number}")[0] for number in (1, 2, 3)]
    assert [(wear.name, wear.count, wear.over) for wear in counts] == [
        ("vent-lead", 13, False),
        ("vent-lead", 14, False),
        ("vent-lead", 15, True),
    ]
    assert wear_of(tmp_path, setup()) == (counts[-1],)


def test_another_number_in_the_file_begins_a_new_count(tmp_path: Path):
    """Its contacts were replaced; what was counted before stays in the file, and does not count."""
    count_mating(tmp_path, setup(), "spring-1", "VN-0001")
    assert wear_of(tmp_path, setup(used=0))[0].count == 0
    assert count_mating(tmp_path, setup(used=0), "spring-1", "VN-0001")[0].count == 1
    lines = (tmp_path / "matings.cable.vent-lead.csv").read_text().splitlines()
    assert [line.split(",")[0] for line in lines] == ["used", "12", "0"]


def test_what_is_simulated_wears_nothing_out(tmp_path: Path):
    """It is counted in a file of its own."""
    count_mating(tmp_path, setup(simulated=True), "spring-1", "VN-0001")
    assert wear_of(tmp_path, setup())[0].count == 12
    assert wear_of(tmp_path, setup(simulated=True))[0].count == 13


def test_a_fixture_has_a_count_of_its_own(tmp_path: Path):
    """Also where it has the name of its cable."""
    both = setup()
    both = replace(
        both, fixture=both.fixture.model_copy(update={"matings": Matings(rated=9000)}), fixture_name="vent-lead"
    )
    assert [(wear.kind, wear.count) for wear in count_mating(tmp_path, both, "b", "s")] == [
        ("cable", 13),
        ("fixture", 1),
    ]


def test_a_line_that_a_dying_station_cut_off_counts(tmp_path: Path):
    """A count is never too low by what was begun."""
    count_mating(tmp_path, setup(), "spring-1", "VN-0001")
    file = tmp_path / "matings.cable.vent-lead.csv"
    file.write_bytes(file.read_bytes()[:-9])
    assert count_mating(tmp_path, setup(), "spring-1", "VN-0002")[0].count == 14


def test_a_full_disk_is_told_before_the_board_is_placed(tmp_path: Path, small_disk):
    """What cannot be counted is not tested."""
    with small_disk(10), pytest.raises(RecordError, match="the mating for VN-0001 cannot be counted; do not test"):
        count_mating(tmp_path, setup(), "spring-1", "VN-0001")
