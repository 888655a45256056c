"""Which reading decided an attempt, drawn so that it can be seen why; and which came closest to deciding otherwise."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from batchtest.nouns import Limit, Line, Outcome, Phase, Verdict
from batchtest.pages.axis import Axis
from batchtest.pages.bar import WIDTH, bar_axis
from batchtest.pages.rows import Row, row
from batchtest.pages.scale import scale_of
from batchtest.quantities import show
from batchtest.records.batch import cause_name

#: Which verdict decides an attempt of this outcome, where its first cause names no reading.
_DECIDES = {Outcome.FAIL: (Verdict.FAIL, Verdict.UNREAD), Outcome.DOUBTFUL: (Verdict.DOUBTFUL,)}
#: A value nearer to a limit than this many U is drawn in close-up, as many U on each side of the limit.
_CLOSE_UP_U = 4.0


@dataclass(frozen=True, slots=True)
class Deciding:
    """The deciding reading; `close_up` where only the surroundings of one limit are drawn."""

    row: Row
    close_up: bool


def deciding(outcome: Outcome, first_cause: str | None, lines: Sequence[Line]) -> Deciding | None:
    """The reading that the first cause names, else the first of the verdict that decides, if any."""
    named = [line for line in lines if first_cause and line.measurement.name == cause_name(first_cause)]
    wanted = _DECIDES.get(outcome, ())
    judged = [line for line in lines if line.judgement is not None and line.judgement.verdict in wanted]
    line = next(iter(named[-1:] or judged[:1]), None)
    if line is None or outcome is Outcome.PASS:
        return None
    near = _close_up(line)
    return Deciding(row(line, scale_of([line]), near or bar_axis([line])), near is not None)


def closest(lines: Sequence[Line]) -> str:
    """Which rail came closest to a limit, counted in its own uncertainty; empty where nothing can be said."""
    margins = [
        (margin / line.reading.uncertainty, margin, line)
        for line in lines
        if line.measurement.phase in (Phase.LOAD, Phase.DERIVED) and line.reading.uncertainty
        for margin in _margins(line)
    ]
    if not margins:
        return ""
    in_U, margin, line = min(margins, key=lambda known: known[:2])
    distance = show(margin, line.measurement.unit, 3)
    return f"Closest to a limit: {line.measurement.name}, {distance} inside it ({in_U:.3g} times its U)."


def _margins(line: Line) -> Iterator[float]:
    value, limit = line.reading.value, line.measurement.limit
    if value is None or limit is None:
        return
    if limit.lower is not None:
        yield value - limit.lower
    if limit.upper is not None:
        yield limit.upper - value


def _close_up(line: Line) -> Axis | None:
    """The surroundings of a limit that a value nearly touches, where its U and the guard band can be seen."""
    value, limit = line.reading.value, line.measurement.limit or Limit()
    reach = _CLOSE_UP_U * (line.reading.uncertainty or 0.0)
    for bound in (limit.lower, limit.upper):
        if value is not None and bound is not None and abs(value - bound) < reach:
            return Axis(bound - reach, bound + reach, WIDTH)
    return None
