"""The decision rule: one place that turns a reading and a limit into a verdict, and verdicts into an outcome.

Guarded acceptance after JCGM 106:2012, 8.3.2 (guard band w = U, k = 2): inside the limits tightened by U is `pass`,
outside the limits is `fail`, between the two is `doubtful`. At worst 2.3 % of values at a limit pass.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from typing import Literal

from batchtest.nouns import Judgement, Limit, Line, Outcome, Reading, Verdict
from batchtest.quantities import show

Rule = Literal["guarded", "plain"]


def judge(reading: Reading, limit: Limit, rule: Rule) -> Judgement:
    """Judge a reading by a limit, both bounds included.

    No value is `unread`, but for a proven over-range (`beyond`): it passes a lower bound that it exceeds where there is
    no upper one, and fails an upper bound that it exceeds. A value at which a load or the supply did not hold what it
    was set to is `unread`, and one that did not settle is `fail`. Under the guarded
    rule a value whose uncertainty is not known is `unread`, and a guard band as wide as the window leaves `doubtful`.

    Parameters
    ----------
    reading : value, bounds and uncertainty in the same base unit.
    rule : "guarded" tightens the limits by the reading's uncertainty; "plain" takes them as they stand.
    """
    if limit.lower is None and limit.upper is None:
        return Judgement(verdict=Verdict.UNREAD, why="the limit has no bound to judge by")
    if reading.value is None or not math.isfinite(reading.value):
        return _judge_beyond(reading, limit)
    if not reading.regulated:
        why = "but a load or the supply did not hold what it was set to; not judged"
        return Judgement(verdict=Verdict.UNREAD, why=f"{_show(reading.value, reading.unit)}, {why}")
    if not reading.settled:
        return Judgement(verdict=Verdict.FAIL, why=f"did not settle; last value {_show(reading.value, reading.unit)}")
    guard = reading.uncertainty if rule == "guarded" else 0.0
    if guard is None or not 0 <= guard < math.inf:
        return Judgement(verdict=Verdict.UNREAD, why="the uncertainty of the value is not known")
    return _judge_value(reading.value, reading.unit, limit, guard)


def outcome_of(judgements: Iterable[Judgement | None]) -> Outcome:
    """Outcome of an attempt that ran through; `None` is a line without a limit.

    Any `fail` fails it; any `doubtful` or `unread` makes it doubtful, and so does nothing judged at all.
    """
    verdicts = {judgement.verdict for judgement in judgements if judgement is not None}
    if Verdict.FAIL in verdicts:
        return Outcome.FAIL
    return Outcome.PASS if verdicts == {Verdict.PASS} else Outcome.DOUBTFUL


def first_cause(lines: Iterable[Line]) -> str | None:
    """What decided the outcome: the first line that failed, else the first in doubt or unread; `None` where all passed.

    It reads as the measurement's name, a colon and a space, and why; what stands before the colon can be counted.
    """
    judged = [(line, line.judgement) for line in lines if line.judgement is not None]
    for wanted in ({Verdict.FAIL}, {Verdict.DOUBTFUL, Verdict.UNREAD}):
        for line, judgement in judged:
            if judgement.verdict in wanted:
                return f"{line.measurement.name}: {judgement.why}"
    return None


def _judge_value(value: float, unit: str, limit: Limit, guard: float) -> Judgement:
    lower = -math.inf if limit.lower is None else limit.lower
    upper = math.inf if limit.upper is None else limit.upper
    where = _where(value, unit, limit)
    if not lower <= value <= upper:
        return Judgement(verdict=Verdict.FAIL, guard=guard, why=where)
    if guard and 2 * guard >= upper - lower:
        why = f"{where}, but a guard band of {_show(guard, unit)} on each side fills the window; use a better range"
        return Judgement(verdict=Verdict.DOUBTFUL, guard=guard, why=why)
    if not lower + guard <= value <= upper - guard:
        why = f"{where}, closer than its uncertainty {_show(guard, unit)}"
        return Judgement(verdict=Verdict.DOUBTFUL, guard=guard, why=why)
    return Judgement(verdict=Verdict.PASS, guard=guard, why=where)


def _judge_beyond(reading: Reading, limit: Limit) -> Judgement:
    beyond, unit = reading.beyond, reading.unit
    if beyond is None or not math.isfinite(beyond):
        return Judgement(verdict=Verdict.UNREAD, why="no reading")
    above = f"over range, above {_show(beyond, unit)}"
    if limit.upper is not None and beyond >= limit.upper:
        return Judgement(verdict=Verdict.FAIL, why=f"{above}, so above the upper bound {_show(limit.upper, unit)}")
    if limit.upper is None and limit.lower is not None and beyond >= limit.lower:
        return Judgement(verdict=Verdict.PASS, why=f"{above}, so above the lower bound {_show(limit.lower, unit)}")
    return Judgement(verdict=Verdict.UNREAD, why=f"{above}, which does not decide; use a higher range")


def _where(value: float, unit: str, limit: Limit) -> str:
    """Say where a value lies to the bound that matters: the one it breaks, or the nearer one."""
    margins = [
        (value - limit.lower, "lower", limit.lower) if limit.lower is not None else None,
        (limit.upper - value, "upper", limit.upper) if limit.upper is not None else None,
    ]
    margin, side, bound = min(found for found in margins if found is not None)
    above = (side == "lower") == (margin >= 0)
    distance = f"{show(abs(margin), unit)} {'above' if above else 'below'}" if margin else "exactly on"
    return f"{_show(value, unit)} is {distance} the {side} bound {_show(bound, unit)}"


def _show(value: float, unit: str) -> str:
    return show(value, unit, 5)
