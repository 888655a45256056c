"""All readings as one frame: `batchtest.readings`, the one public name."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import pytest

import batchtest
from batchtest.errors import SetupError
from batchtest.records.gather import gather
from batchtest.records.journal import Journal

from .contexts import CONTEXT, closed
from .old_facts import OLD


def test_the_public_names_are_exactly_these():
    """A name joins or leaves the package on purpose, never by an import."""
    assert batchtest.__all__ == ["readings"]


def test_a_frame_has_every_line_with_its_context(tmp_path: Path):
    """What pandas needs to answer a question in one line."""
    frame = batchtest.readings(shutil.copytree(OLD / "1" / "reports", tmp_path / "reports"))
    assert len(frame) == 1011
    full = frame[(frame.outcome == "pass") & (frame.name == "logic @ load point 3")]
    assert [(row.batch, row.serial, row.waived) for row in full.itertuples()] == [
        ("spring", "VN-0003", False),
        ("waived", "VN-0002", True),
    ]
    assert full.value_micro.sum() == round(full.value * 1e6).sum()
    assert str(frame.started.dt.tz) != "None"


def test_what_is_new_is_in_the_frame(tmp_path: Path):
    """Nobody has to gather first, and nothing old is shown for new."""
    closed(tmp_path)
    assert set(batchtest.readings(tmp_path).serial) == {"VN-0001"}
    closed(tmp_path, "VN-0002")
    assert set(batchtest.readings(str(tmp_path)).serial) == {"VN-0001", "VN-0002"}


@pytest.mark.parametrize("url", [False, True], ids=["folder", "url"])
def test_a_store_is_read_as_it_is(tmp_path: Path, url: bool):
    """Of all stations, each batch once."""
    to = f"memory://{tmp_path.name}/readings" if url else str(tmp_path / "all")
    for station in ("bench-1", "bench-2"):
        closed(tmp_path / station, station=station)
        gather([tmp_path / station], to)
    assert list(batchtest.readings(to).groupby("station").size().items()) == [("bench-1", 2), ("bench-2", 2)]


def test_what_is_not_in_the_frame_is_warned_of(tmp_path: Path):
    """A record that was altered."""
    record = tmp_path / closed(tmp_path).record
    record.write_bytes(record.read_bytes().replace(b"4.98,V", b"4.99,V"))
    closed(tmp_path, "VN-0002")
    with pytest.warns(UserWarning, match=r"left out VN-0001\.1\.csv: .* was altered"):
        assert set(batchtest.readings(tmp_path).serial) == {"VN-0002"}


def test_an_open_batch_is_warned_of(tmp_path: Path):
    """It is not in the frame before it is closed."""
    closed(tmp_path)
    with (
        Journal.claim(tmp_path, replace(CONTEXT, batch="busy")),
        pytest.warns(UserWarning, match=r"busy: open, begun and not closed: VN-0001\.1"),
    ):
        assert set(batchtest.readings(tmp_path).batch) == {"spring-1"}


@pytest.mark.parametrize("there", [False, True], ids=["no-folder", "nothing-in-it"])
def test_a_folder_without_records_is_said(tmp_path: Path, there: bool):
    """An empty frame would look like boards without readings."""
    folder = tmp_path if there else tmp_path / "nowhere"
    with pytest.raises(SetupError, match="no closed batch in" if there else "there is no folder"):
        batchtest.readings(folder)
