"""Outside values for the checks of this room."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
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
