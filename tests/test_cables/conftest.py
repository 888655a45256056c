"""For tests of cables: published figures, and the demo's fixtures, which are solved once."""

from __future__ import annotations

import tomllib
from pathlib import Path
from typing import Any

import pytest


@pytest.fixture(scope="session")
def cold_reference() -> dict[str, Any]:
    """Published cold readings of the demo's circuits."""
    return tomllib.loads((Path(__file__).parents[1] / "reference" / "14_cold_readings.toml").read_text())
