"""All errors that batchtest raises on purpose, split by what the person must do next.

::

    StationError                    everything below
    |- SetupError                   mend a file, an argument or a plug; nothing was measured       exit 2
    |  |- FileFaults                faults of files, all at once, each with file, line and cure
    |  |- NoOperatingPoint          a circuit without a solution; names the node
    |- BenchError                   no valid reading: outcome `stopped`, never `fail`              exit 3
    |  |- InstrumentTimeout         no whole reply in time
    |  |- InstrumentLost            the connection is gone
    |  |- InstrumentReplyError      a reply that is no answer to what was asked
    |  |- InstrumentRefused         the instrument put an error in its queue, or did not take a value
    |  |- OutputsNotOff             an output could not be read back as off: treat as live
    |- NotProven                    cable or fixture not proven: never powered, the batch ends     exit 4
    |- SafetyTrip                   a bound that leaves nothing powered; outputs are already off
    |- RecordError                  the result is not on disk: the board must not leave the bench  exit 3
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batchtest.nouns import Measurement, Reading


class StationError(Exception):
    """Everything that batchtest raises on purpose."""


class SetupError(StationError):
    """A file, an argument or a plug needs mending; nothing was measured yet."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One thing wrong with a file: where it is, what is wrong, and what to write instead."""

    file: str
    line: int
    path: str
    message: str

    def __str__(self) -> str:
        where = f"{self.file}: line {self.line}: " if self.line else f"{self.file}: "
        return f"{where}{self.path}: {self.message}" if self.path else f"{where}{self.message}"


class FileFaults(SetupError):
    """The faults of one or more files, all of them, in the order of file and line."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(sorted(faults, key=lambda fault: (fault.file, fault.line, fault.path)))
        super().__init__("\n".join(str(fault) for fault in self.faults))


class NoOperatingPoint(SetupError):
    """The solver found no operating point; the message names the node that would not settle."""


class BenchError(StationError):
    """The bench gave no valid reading; the attempt is `stopped`, never `fail`."""


class InstrumentTimeout(BenchError):
    """No whole reply came in time."""


class InstrumentLost(BenchError):
    """The connection to an instrument is gone."""


class InstrumentReplyError(BenchError):
    """A reply came that is no answer to what was asked."""


class InstrumentRefused(BenchError):
    """An instrument reported an error, or does not hold the value it was given."""


class OutputsNotOff(BenchError):
    """An output could not be read back as off: treat the board as live."""


class NotProven(StationError):
    """Cable or fixture were not proven safe; nothing was powered.

    `looks_like` is the cable of the library that seems to be fitted, `told_by` the names of the readings that say so.
    """

    def __init__(self, message: str, *, looks_like: str = "", told_by: Sequence[str] = ()) -> None:
        super().__init__(message)
        self.looks_like = looks_like
        self.told_by = tuple(told_by)


class SafetyTrip(StationError):
    """A bound was crossed that leaves nothing powered; the outputs are off when this is raised.

    Carries what was measured, so that it is recorded although the attempt ends here.
    """

    def __init__(self, message: str, measurement: Measurement | None = None, reading: Reading | None = None) -> None:
        super().__init__(message)
        self.measurement = measurement
        self.reading = reading


class RecordError(StationError):
    """A result could not be put on disk; the board must not leave the bench."""


def nearest(name: str, known: Sequence[str]) -> str:
    """Say which known name was probably meant, as the tail of a message.

    >>> nearest("ventt", ["vent", "mist"])
    "did you mean 'vent'?"
    >>> nearest("zzz", ["vent", "mist"])
    'known: mist, vent'
    """
    close = get_close_matches(name, known, n=1)
    if close:
        return f"did you mean {close[0]!r}?"
    return f"known: {', '.join(sorted(known))}" if known else "there are none"
