"""The claim on an attempt number, with another station acting at the worst moment."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from batchtest.records.claim import claim_number, claim_part
from batchtest.records.names import CSV, PART, AttemptName

#: What another station does in the moment before this process opens a file, once.
_before_open: dict[str, Callable[[], None]] = {}


def _act(event: str, arguments: tuple[Any, ...]) -> None:
    if event == "open" and isinstance(arguments[0], str | os.PathLike):
        _before_open.pop(os.fspath(arguments[0]), lambda: None)()


sys.addaudithook(_act)


@pytest.mark.parametrize(
    ("other", "left"),
    [
        pytest.param(PART, [".1.csv.part", ".2.csv.part"], id="claims"),
        pytest.param(CSV, [".1.csv", ".2.csv.part"], id="claims-and-closes"),
    ],
)
def test_another_station_that_comes_first_keeps_its_number(tmp_path, other, left):
    """Between the look for a free number and the create another station may take it, and may even be done with it."""
    first = AttemptName("VN-1", 1)
    _before_open[str(first.path(tmp_path, PART))] = first.path(tmp_path, other).touch
    name, file = claim_part(tmp_path, "VN-1")
    os.close(file)
    assert not _before_open
    assert AttemptName("VN-1", 2) == name
    assert left == sorted(path.name.removeprefix("VN-1") for path in tmp_path.iterdir())


def test_a_claim_begins_with_an_empty_file(tmp_path):
    """What is claimed is new, and for appending only."""
    name, file = claim_part(tmp_path, "VN-1")
    os.write(file, b"a")
    os.lseek(file, 0, os.SEEK_SET)
    os.write(file, b"b")
    os.close(file)
    assert name.path(tmp_path, PART).read_bytes() == b"ab"


def test_a_folder_that_is_gone_cannot_be_claimed_in(tmp_path):
    """The disk's own words reach the caller, who knows what is lost."""
    with pytest.raises(FileNotFoundError, match="nowhere"):
        claim_part(tmp_path / "nowhere", "VN-1")


def test_a_part_that_the_owner_of_its_number_takes_away_is_no_error(tmp_path):
    """Another station closes this number between the look and the create, and tidies up what bears its name."""

    def path(number: int, ending: str) -> Path:
        found = tmp_path / f"VN-0001.{number}{ending}"
        if (number, ending) == (1, CSV):
            found.touch()
            found.with_name(f"VN-0001.1{PART}").unlink()
        return found

    number, file = claim_number(1, path)
    os.close(file)
    assert (number, sorted(each.name for each in tmp_path.iterdir())) == (2, ["VN-0001.1.csv", "VN-0001.2.csv.part"])
