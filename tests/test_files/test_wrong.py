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


@pytest.mark.parametrize("bench", ["table", "pretend"])
def test_the_example_itself_has_no_fault(bench: str) -> None:
    """What the tables spoil is right before."""
    assert load_setup(EXAMPLE, "nest", bench, "lamp").board == "lamp"
