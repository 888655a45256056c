"""A face: what one kind of instrument understands and answers, in front of a simulated instrument that does the work.

Faces are written from how such instruments are documented, and know nothing of the dialect files that speak to them.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from typing import ClassVar, Protocol

from batchtest.simulated.faults import Faults
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.scpi import Framer, ScpiError

#: From here on a value is over range, as instruments write that (SCPI-1999 vol. 1, 7.2.1).
OVER_RANGE = 9.8e37
Phrase = Callable[..., str | None]


class Cutter(Protocol):
    """Cuts a stream of bytes into messages."""

    def feed(self, data: bytes) -> list[bytes | None]:
        """Whole messages that came to their end with `data`."""
        ...


class LineFramer:
    """Cuts at one byte; for instruments that do not take line feeds."""

    def __init__(self, ending: bytes) -> None:
        self._ending, self._buffer = ending, b""

    def feed(self, data: bytes) -> list[bytes | None]:
        """Whole messages, without their ending."""
        *messages, self._buffer = (self._buffer + data).split(self._ending)
        return list(messages)


def phrase(pattern: str) -> Callable[[Phrase], Phrase]:
    """Marks a method that acts on messages of this form; it is called with the groups of the pattern."""

    def mark(method: Phrase) -> Phrase:
        method.pattern = re.compile(pattern)  # type: ignore[attr-defined]
        return method

    return mark


class Lost(Exception):
    """A message is lost, and no error tells of it: it came too soon, or the instrument behind gave no answer."""


class Face:
    """An instrument of one style. Subclasses add phrases.

    Common commands ("*...") are understood. `ending` is what messages and replies end with; `prefix` stands before
    every header. `echo` is answered to a command that was carried out, and "ERR" to any other; without it there is an
    error queue. `blank_line`: an empty line comes before each reply.
    """

    ending: ClassVar[bytes] = b"\n"
    echo: ClassVar[str] = ""
    blank_line: ClassVar[bool] = False
    prefix: ClassVar[str] = ""
    _phrases: ClassVar[list[tuple[re.Pattern[str], str]]] = []

    def __init_subclass__(cls) -> None:
        """Collect the phrases of a style."""
        found = [(value.pattern, name) for name, value in vars(cls).items() if hasattr(value, "pattern")]
        cls._phrases = [*cls._phrases, *found]

    def __init__(self, core: BenchInstrument) -> None:
        self.core, self.role = core, core.role
        self.moment = 0.0
        self._restarts = core.restarts
        self.power_on()

    def power_on(self) -> None:
        """What a style keeps by itself, as after power-on."""

    @property
    def faults(self) -> Faults:
        """Faults on demand; they befall messages to the instrument behind, which are in that one's own words."""
        return self.core.faults

    def framer(self) -> Cutter:
        """What cuts the messages of one connection."""
        return Framer() if self.ending.endswith(b"\n") else LineFramer(self.ending)

    def fail(self, number: int, detail: str = "") -> None:
        """Put an error into the instrument's queue."""
        self.core.fail(number, detail)

    def status_byte(self) -> int:
        """The instrument's status byte, as a serial poll reads it (IEEE 488.2, 11.2)."""
        return self.core.status_byte()

    def execute_at(self, message: bytes, now: float) -> tuple[bytes, float]:
        """Carry out a message; its reply without ending, and when that is ready, s."""
        with self.core.rack.lock:
            self.begin(now)
            text = message.decode("latin-1").strip(" \t\r\n")
            reply = self._answered(text) if text else None
            if reply is None:
                return b"", self.moment
            return (self.ending if self.blank_line else b"") + reply.encode("ascii"), self.moment

    def begin(self, now: float) -> None:
        """A message has arrived, at `now` or once the one before is done."""
        self.moment = max(self.core.moment, now)
        if self._restarts != self.core.restarts:
            self._restarts = self.core.restarts
            self.power_on()

    def tell(self, text: str) -> str:
        """Have the instrument carry out a message of its own; its answer, "" for none."""
        reply, self.moment = self.core.execute_at(text.encode("ascii"), self.moment)
        return reply.decode("ascii")

    def ask(self, text: str) -> str:
        """What the instrument answers to a query of its own; Lost, where that is nothing."""
        reply = self.tell(text)
        if not reply:
            raise Lost
        return reply

    def number(self, text: str) -> float:
        """The same as a number; Lost, where it is none that a display could show."""
        try:
            value = float(self.ask(text))
        except ValueError as error:
            raise Lost from error
        if not abs(value) < OVER_RANGE:
            raise Lost
        return value

    def _answered(self, text: str) -> str | None:
        if self.echo:
            reply = self.tell(text) if text.startswith("*") else self._acted(text)
        else:
            reply = ";".join(filter(None, (self._unit(unit) for unit in text.split(";"))))
        if self.echo and not reply:
            return "ERR" if self._failed() else self.echo
        return reply or None

    def _failed(self) -> bool:
        """Whether the queue that nobody reads holds an error; it is emptied."""
        failed = len(self.core.errors) > 0
        self.core.errors.clear()
        return failed

    def _unit(self, text: str) -> str:
        """One of several messages that came joined; each may begin at the root (SCPI-99 vol. 1, 6.2.4)."""
        text = text if self.prefix else text.removeprefix(":")
        common = text.startswith("*") or text == f"{self.prefix}SYST:ERR?"
        return self.tell(text) if common else self._acted(text)

    def _acted(self, text: str) -> str:
        for pattern, name in self._phrases:
            match = pattern.fullmatch(text)
            if match is not None:
                try:
                    return getattr(self, name)(*match.groups()) or ""
                except Lost:
                    return ""
                except ScpiError as error:
                    self.fail(error.number, error.detail)
                    return ""
        self.fail(-113, text[:80])
        return ""


def joined(values: Iterable[str], separator: str = ",") -> str:
    """Values of one reply."""
    return separator.join(values)


#: A number as most styles take it, without a unit.
NUMBER = r"([+-]?[0-9.]+(?:[Ee][+-]?[0-9]+)?)"
