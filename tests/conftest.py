"""For all tests: no socket leaves this machine, and outside values are at hand."""

from __future__ import annotations

import os
import shutil
import socket
import tomllib
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

REFERENCE = Path(__file__).parent / "reference"
#: Folders of tests lie in memory where there is room: a record syncs every line, and no test is about the disk's speed.
_MEMORY = Path("/dev/shm")
if _MEMORY.is_dir() and shutil.disk_usage(_MEMORY).free > 1 << 30:
    os.environ.setdefault("PYTEST_DEBUG_TEMPROOT", str(_MEMORY))
_LOOPBACK = {"127.0.0.1", "::1", "localhost"}


@pytest.fixture(scope="session", autouse=True)
def loopback_only() -> Iterator[None]:
    """Fail whatever reaches for another host."""
    connect = socket.socket.connect

    def guarded(self: socket.socket, address: Any) -> None:
        if isinstance(address, tuple) and address[0] not in _LOOPBACK:
            raise AssertionError(f"a test reached for {address[0]}; tests use loopback only")
        connect(self, address)

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(socket.socket, "connect", guarded)
        yield


@pytest.fixture(scope="session", autouse=True)
def no_causes_beside() -> Iterator[None]:
    """Make no fault table beside each batch that is tested here; the tests of that ask for it (`--causes`)."""
    with pytest.MonkeyPatch.context() as patch:
        patch.setenv("BATCHTEST_CAUSES", "no")
        yield


@pytest.fixture(scope="session")
def reference() -> Callable[[str, str], dict[str, Any]]:
    """One case of a reference file: its inputs, expected values and tolerances."""

    def find(file: str, case: str) -> dict[str, Any]:
        cases = tomllib.loads((REFERENCE / f"{file}.toml").read_text())["case"]
        return next(found for found in cases if found["id"] == case)

    return find
