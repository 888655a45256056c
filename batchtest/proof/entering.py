"""How a reading enters a record, and what the gate asks of the line that it became."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from batchtest.nouns import Line, Measurement, Reading, Verdict, Waiver
from batchtest.procedure.actions import Action
from batchtest.quantities import show
from batchtest.records.excuse import excuse_of

Enter = Callable[[Measurement, Reading], Line]
Announce = Callable[[Action], None]


def passed(line: Line, waivers: Sequence[Waiver] = ()) -> bool:
    """Whether a line was judged to pass, or is excused by a waiver: neither a doubt nor a missing reading passes."""
    if line.judgement is not None and line.judgement.verdict is Verdict.PASS:
        return True
    return excuse_of(line, waivers) is not None


def rounded(line: Line) -> str:
    """A reading as a person takes it: what is lost in its uncertainty is less than that."""
    value, uncertainty = line.reading.value, line.reading.uncertainty
    if value is not None and uncertainty is not None and abs(value) < uncertainty:
        return f"less than {show(uncertainty, line.reading.unit, 2)}"
    return shown(line)


def shown(line: Line) -> str:
    """The reading of a line: a value, or beyond what it is."""
    reading = line.reading
    if reading.beyond is not None:
        return f"more than {show(reading.beyond, reading.unit)}"
    return "no reading" if reading.value is None else show(reading.value, reading.unit)
