"""Outside values, and a disk that is full, for the tests of this room."""

from __future__ import annotations

import resource
import tomllib
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path
from typing import Any

import pytest

REFERENCE = Path(__file__).parents[1] / "reference"


@pytest.fixture(scope="session")
def reference() -> Callable[[str, str], dict[str, Any]]:
    """One case of a reference file: its inputs, expected values and tolerances."""

    def find(file: str, case: str) -> dict[str, Any]:
        cases = tomllib.loads((REFERENCE / f"{file}.toml").read_text())["case"]
        return next(found for found in cases if found["id"] == case)

    return find


@pytest.fixture
def small_disk() -> Callable[[int], AbstractContextManager[None]]:
    """A block in which the system lets no file grow beyond some bytes, as a full disk would not."""

    @contextmanager
    def limited(most: int) -> Iterator[None]:
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)

    return limited
