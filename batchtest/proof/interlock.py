"""The interlock: a loop through lid and covers, to be closed whenever something is, or is about to be, powered."""

from __future__ import annotations

from batchtest.errors import NotProven
from batchtest.measuring import Reader
from batchtest.procedure.actions import CheckInterlock
from batchtest.proof.entering import Enter, passed, shown


def require_interlock(reader: Reader, action: CheckInterlock, *, enter: Enter) -> None:
    """Read the loop, and refuse one that is open, bridged or not read.

    Raises
    ------
    NotProven : with what it reads; the caller sees to it that nothing is powered.
    """
    for measurement in action.measurements:
        line = enter(measurement, reader.read(measurement))
        if not passed(line):
            upper = measurement.limit.upper if measurement.limit else None
            value = line.reading.value
            bridged = value is not None and upper is not None and value < upper
            state = "reads like a bridge across it" if bridged else "is open"
            raise NotProven(
                f"the interlock {state} ({shown(line)}): lid or covers are not shown to be closed. Nothing is powered. "
                "Close them, and take out whatever bridges the loop.",
                told_by=[measurement.name],
            )
