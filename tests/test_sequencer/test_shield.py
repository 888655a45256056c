"""Switching off is not cut short by the impatient."""

from __future__ import annotations

import os
import signal

import pytest

from batchtest.sequencer.shield import uninterrupted


def test_an_interrupt_waits_until_the_block_is_done():
    """Ctrl-C in the middle of switching off arrives after it, and is not lost."""
    done = []
    with pytest.raises(KeyboardInterrupt):  # noqa: PT012 - the second statement is what must be reached
        with uninterrupted():
            os.kill(os.getpid(), signal.SIGINT)
            done.append("switched off")
        done.append("not reached")
    assert done == ["switched off"]
