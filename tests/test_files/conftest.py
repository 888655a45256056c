"""For the tests of `files`: a small example project in a folder of its own, and how to spoil it."""

from __future__ import annotations

import shutil
from dataclasses import dataclass
from pathlib import Path

import pytest

from batchtest.files.library import Setup, load_setup

EXAMPLE = Path(__file__).parent / "project"


@dataclass(frozen=True)
class Project:
    """A copy of the example project."""

    root: Path

    def replace(self, file: str, old: str | bytes, new: str | bytes) -> None:
        """Replace the first `old` in a file by `new`."""
        path = self.root / file
        before, after = (text if isinstance(text, bytes) else text.encode() for text in (old, new))
        assert before in path.read_bytes(), f"{old!r} is not in {file}"
        path.write_bytes(path.read_bytes().replace(before, after, 1))

    def load(self, bench: str = "table") -> Setup:
        """Load the example's setup with one of its two benches."""
        return load_setup(self.root, "nest", bench, "lamp")


@pytest.fixture
def project(tmp_path: Path) -> Project:
    """The example project, free to be spoiled."""
    return Project(Path(shutil.copytree(EXAMPLE, tmp_path / "project")))
