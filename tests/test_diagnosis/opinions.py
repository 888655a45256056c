"""Hypotheses, causes and diagnoses for tests of what is said of them."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.diagnosis.model import (
    Cause,
    Coverage,
    Defect,
    Deviation,
    Diagnosis,
    Hypothesis,
    Kind,
    Sight,
    Spot,
    Suggestion,
)

_DEFECTS = {"open": Defect.OPEN, "short": Defect.SHORT, "stuck": Defect.DEAD}


def fault(part: str, mode: str, defect: Defect | None = None, kind: Kind = Kind.BOARD) -> Hypothesis:
    """A part that fails in a way, as a fault table names it."""
    found = defect or _DEFECTS[mode.partition("-")[0]]
    return Hypothesis(name=f"{part} {mode}", kind=kind, defect=found, parts=(part,), mode=mode)


def bridge(one: str, other: str, *parts: str) -> Hypothesis:
    """Solder between two nets, somewhere between these parts."""
    name = f"{one}-{other} bridged"
    return Hypothesis(name=name, kind=Kind.BOARD, defect=Defect.BRIDGE, parts=parts, mode=f"{one}-{other}")


def cause(*hypotheses: Hypothesis, probability: float = 0.9, because: Sequence[Deviation] = ()) -> Cause:
    """A cause of these members, all alike likely."""
    shares = tuple(probability / len(hypotheses) for _ in hypotheses)
    return Cause(hypotheses=hypotheses, probability=probability, shares=shares, because=tuple(because))


def deviation(name: str, value: float | None, expected: float | None, unit: str = "V") -> Deviation:
    """A reading that is far off."""
    return Deviation(name=name, point="logic", unit=unit, value=value, expected=expected, sigmas=40.0, explained=value)


def diagnosis(
    *causes: Cause, advice: str = "measure", unknown: float = 0.05, then: Sequence[Suggestion] = ()
) -> Diagnosis:
    """What a record makes likely."""
    return Diagnosis(causes=causes, unknown=unknown, advice=advice, next=tuple(then), used=(), table="cd" * 32)  # type: ignore[arg-type]


def suggestion(
    unit: str = "ohm", state: str = "cold", reach: str = "testpoint", **outcomes: float | None
) -> Suggestion:
    """A measurement at TP7; what each cause would read, by its first member's name with _ for the blank."""
    spot = Spot(name="TP7", node="board.zr5", reach=reach, minus="TP1", parts=("QE5", "DZ5"))
    read = {name.replace("_", " "): value for name, value in outcomes.items()}
    return Suggestion(spot=spot, unit=unit, state=state, minutes=1.0, risk=1.0, bits=0.9, outcomes=read)  # type: ignore[arg-type]


def sight(hypothesis: Hypothesis, fails: float = 1.0, first: str = "logic-short") -> Sight:
    """What a procedure sees of a fault."""
    return Sight(hypothesis=hypothesis, fails=fails, first=first if fails else "", sigmas=50.0 * fails)


COVERAGE = Coverage(
    board="vent",
    fixture="vent-nest",
    seen=(sight(fault("R5B", "open")), sight(fault("R5B", "short")), sight(bridge("v5", "sg", "RL5", "R5B"))),
    within_limits=(sight(fault("RLD", "is 1.2 kohm", Defect.VALUE), 0.0),),
    invisible=(sight(fault("RSWA", "open"), 0.0), sight(fault("RSWA", "is 1 Mohm", Defect.VALUE), 0.0)),
)
