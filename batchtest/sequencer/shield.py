"""Stretches of work that no signal may cut short: switching off, and closing a record. Everything in them is finite.

Signals are held back by handlers, not by a mask: a mask is a thread's own, and the libraries' threads take the signal.
"""

from __future__ import annotations

import signal
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

_STOPS = (signal.SIGINT, signal.SIGTERM, signal.SIGHUP)


@contextmanager
def uninterrupted() -> Iterator[None]:
    """Hold back SIGINT, SIGTERM and SIGHUP until the block is done; they arrive then.

    Does nothing outside the main thread.
    """
    if threading.current_thread() is not threading.main_thread():
        yield
        return
    held: list[int] = []

    def hold(number: int, _frame: FrameType | None) -> None:
        held.append(number)

    before = {number: signal.signal(number, hold) for number in _STOPS}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        if held:
            signal.raise_signal(held[0])
