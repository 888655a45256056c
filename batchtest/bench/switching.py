"""Switching off: every output is told at once, then every one is read back, whatever went wrong with the others."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import Protocol

from batchtest.bench.link import Link
from batchtest.errors import BenchError, OutputsNotOff, StationError


class Output(Protocol):
    """What can be switched off."""

    def send_off(self) -> None:
        """Send "off" at once, without waiting for anything."""
        ...

    def confirm_off(self) -> None:
        """Read back that it is off; an error where it is not."""
        ...


def still_on(link: Link, send_off: Callable[[], None], is_on: Callable[[], bool]) -> bool:
    """Read back whether an output is on, after "off" was sent.

    Where the link is out of step, or breaks now, nobody knows whether "off" arrived: it is brought into step, once, and
    "off" is said again before reading back.

    Raises
    ------
    BenchError : it does not answer.
    """
    if not link.dirty:
        try:
            return is_on()
        except BenchError:
            pass  # tried once more below
    link.recover()
    send_off()
    return is_on()


def switch_off(outputs: Sequence[Output]) -> None:
    """Send "off" to all outputs in their order, then read each back; on a dirty link too.

    A Ctrl-C in between is held back until all were tried.

    Raises
    ------
    OutputsNotOff : names each output that could not be read back as off.
    KeyboardInterrupt : it came in between, and all outputs are off.
    """
    tries = _Tries()
    for output in outputs:
        tries.run(output.send_off)
    tries.wrong.clear()  # whether it arrived is what reading back tells
    for output in outputs:
        tries.run(output.confirm_off)
    if tries.wrong:
        raise OutputsNotOff(
            f"{'; '.join(tries.wrong)}. Treat the board as live: switch the supply off by hand before you touch it"
        ) from tries.interrupt
    if tries.interrupt is not None:
        raise tries.interrupt


class _Tries:
    """Runs steps one after the other, and keeps what went wrong for later."""

    def __init__(self) -> None:
        self.wrong: list[str] = []
        self.interrupt: KeyboardInterrupt | None = None

    def run(self, step: Callable[[], None]) -> None:
        try:
            step()
        except StationError as error:
            self.wrong.append(str(error))
        except KeyboardInterrupt as interrupt:
            self.interrupt = interrupt
            self.run(step)
