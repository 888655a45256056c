"""Stretches of work that no signal may cut short: switching off, and closing a record. Everything in them is finite."""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager

_STOPS = {signal.SIGINT, signal.SIGTERM}


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold back SIGINT and SIGTERM until the block is done; they arrive then. Does nothing outside the main thread."""
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, _STOPS)
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)
