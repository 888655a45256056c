"""Where readings become lines: numbered, timed, judged by the one rule, journalled before anyone sees them."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Protocol

from batchtest.clock import Clock
from batchtest.judging.rule import Rule, judge
from batchtest.nouns import Line, Measurement, Reading
from batchtest.procedure import Action
from batchtest.records.journal import Journal


class Observer(Protocol):
    """Whoever watches an attempt: the screen. It is told of a line only after that line is on disk."""

    def start_action(self, action: Action, seconds_left: float) -> None:
        """An action begins; `seconds_left` is what the attempt should still take."""
        ...

    def show_line(self, line: Line) -> None:
        """A line was recorded."""
        ...


class Logbook:
    """The lines of one attempt, in the order in which they were read; `waivers` are those that the record names."""

    def __init__(self, journal: Journal, observer: Observer, rule: Rule, clock: Clock) -> None:
        self.waivers = journal.context.waivers
        self._journal, self._observer, self._rule, self._clock = journal, observer, rule, clock
        self._start = clock.now()

    def begin(self) -> None:
        """Count the seconds of the attempt from here: the board is in the nest."""
        self._start = self._clock.now()

    def enter(self, measurement: Measurement, reading: Reading) -> Line:
        """Judge a reading and put it on disk; what is measured is never lost."""
        line = Line(
            number=len(self._journal.lines) + 1,
            time=datetime.now().astimezone(),
            elapsed_s=self.elapsed_s,
            measurement=measurement,
            reading=reading,
            judgement=None if measurement.limit is None else judge(reading, measurement.limit, self._rule),
        )
        self._journal.write(line)
        self._observer.show_line(line)
        return line

    @property
    def lines(self) -> Sequence[Line]:
        """What was entered so far."""
        return self._journal.lines

    @property
    def elapsed_s(self) -> float:
        """Seconds since the attempt began, on the bench's clock."""
        return self._clock.now() - self._start
