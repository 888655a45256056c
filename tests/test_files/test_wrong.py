"""Every way to get a file wrong that we know of, and the whole message that it gets: tables in `wrong/`."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

from batchtest.errors import FileFaults
from batchtest.files.library import load_setup

from .conftest import EXAMPLE, Project


def _cases() -> Iterator[object]:
    for path in sorted((Path(__file__).parent / "wrong").glob("*.toml")):
        for name, case in tomllib.loads(path.read_text()).items():
            yield pytest.param(*(case[key] for key in ("file", "old", "new", "says")), id=f"{path.stem}-{name}")


@pytest.mark.parametrize(("file", "old", "new", "says"), list(_cases()))
def test_a_fault_says_where_it_is_and_what_to_write_instead(
    project: Project, file: str, old: str, new: str, says: str
) -> None:
    """One thing wrong in an otherwise right project gives exactly this message."""
    project.replace(file, old, new)
    with pytest.raises(FileFaults, match=rf"^{re.escape(says)}$"):
        project.load("pretend" if "pretend" in file else "table")


@pytest.mark.parametrize(
    ("file", "old", "new"),
    [
        pytest.param("limits/lamp.toml", '"5.6 V"', '"5.2 V"', id="abort-above-at-the-limit"),
        pytest.param("limits/lamp.toml", 'above = "5.6 V"', 'below = "4.8 V"', id="abort-below-at-the-limit"),
        pytest.param("limits/lamp.toml", 'above = "5.6 V"', 'above = "6 V", below = "4 V"', id="abort-on-both-sides"),
        pytest.param("limits/lamp.toml", '"5.6 V"', '"100 V"', id="bound-at-the-end-of-the-range"),
        pytest.param("limits/lamp.toml", '"20 mA"', '"100 mA"', id="load-at-the-protection"),
        pytest.param("limits/lamp.toml", 'lower = "4.8 V"', 'lower = "5.2 V"', id="window-without-width"),
        pytest.param(
            "limits/lamp.toml", "at = [{ within", 'at = [{ load = "0 A", within', id="no-load-in-the-only-entry"
        ),
        pytest.param("fixtures/benches/table.toml", '"1 W"', '"100 mW"', id="power-at-the-protection"),
        pytest.param("fixtures/benches/table.toml", '"30 V"', '"12 V"', id="soft-start-at-the-end-of-the-range"),
        pytest.param(
            "fixtures/benches/table.toml", 'voltage = "5 V"', 'voltage = "100 V"', id="reference-at-the-range"
        ),
        pytest.param("fixtures/benches/table.toml", "due = 2027", "due = 2026", id="due-on-the-day-of-calibration"),
    ],
)
def test_what_lies_just_at_an_edge_is_right(project: Project, file: str, old: str, new: str) -> None:
    """Bounds belong to what they bound: nothing is refused that could still be done."""
    project.replace(file, old, new)
    assert project.load().board == "lamp"


@pytest.mark.parametrize("bench", ["table", "pretend"])
def test_the_example_itself_has_no_fault(bench: str) -> None:
    """What the tables spoil is right before."""
    assert load_setup(EXAMPLE, "nest", bench, "lamp").board == "lamp"
