"""For the tests of the commands: what is derived from the same files is derived once in a process."""

from __future__ import annotations

import pytest
from stations import derive_once

import batchtest.procedure


@pytest.fixture(autouse=True)
def procedures_are_derived_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Commands that run in this process share the procedures of the tests: each takes a second to work out."""
    monkeypatch.setattr(batchtest.procedure, "derive", derive_once)
