"""A disk that is full, for the tests of this room."""

from __future__ import annotations

import resource
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager

import pytest


@pytest.fixture
def small_disk(monkeypatch: pytest.MonkeyPatch) -> Callable[[int], AbstractContextManager[None]]:
    """A block in which the system lets no file grow beyond some bytes, as a full disk would not."""

    @contextmanager
    def limited(most: int) -> Iterator[None]:
        before = resource.getrlimit(resource.RLIMIT_FSIZE)
        monkeypatch.setattr(sys, "dont_write_bytecode", True)  # a module compiled in the block would be cut short
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, before[1]))
        try:
            yield
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)

    return limited
