"""For all tests: no socket leaves this machine, and a run's outside values are at hand."""

from __future__ import annotations

import sys
from typing import Any

_LOOPBACK = {"127.0.0.1", "::1", "localhost"}


def _loopback_only(event: str, arguments: tuple[Any, ...]) -> None:
    if event == "socket.connect" and isinstance(arguments[1], tuple) and arguments[1][0] not in _LOOPBACK:
        raise AssertionError(f"a test reached for {arguments[1][0]}; tests use loopback only")


sys.addaudithook(_loopback_only)
