"""A diagnosis in the words of who repairs the board: what is wrong, what says so, what to change, where to measure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence

from batchtest.diagnosis.model import Cause, Coverage, Defect, Deviation, Diagnosis, Hypothesis, Kind, Sight, Suggestion
from batchtest.quantities import show

#: So many causes are named.
CAUSES = 3
#: So many parts of one kind are named; the others are counted. Own choice.
_NAMED = 6
#: So many ways to say what may be wrong are said of one cause; the others are counted. Own choice.
_CLAUSES = 3
#: So many readings are named as what says so. Own choice.
_READINGS = 2
#: So many answers of a measurement are explained. Own choice.
_ANSWERS = 4
#: Readings that a person's meter takes for the same lie within this share of each other. Own choice.
_ALIKE = 0.03
_WRONG = ", a wrong value"
_OF_FIXTURE, _OF_BOARD = "host.", "board."
_LEGS = {"c": "collector", "b": "base", "e": "emitter"}
_PLAIN = {
    Defect.OPEN: "open",
    Defect.SHORT: "short",
    Defect.MISSING: "missing",
    Defect.REVERSED: "the wrong way round",
    Defect.DEAD: "dead",
}
_ADVICE = {
    "nothing": "no reading speaks against this board",
    "measure": "cannot be told yet",
    "unknown": (
        "nothing that the fault table knows explains these readings: look the board over, think of two faults at once, "
        "and of the bench"
    ),
}
#: Said with every measurement that is taken under power. Common practice, no source.
POWERED_CAUTION = "one slip shorts two pins: clip the black lead, insulate the tip, one hand, current limit as tested"


def cause_words(cause: Cause) -> str:
    """A cause and all that cannot be told from it, the likeliest first.

    "one of DS1, DS2, DS3 is open"; "R5B is open or missing, or R5A is short".
    """
    return _any_of(cause.hypotheses)


def _any_of(faults: Sequence[Hypothesis]) -> str:
    """Faults of which any may be it: one way to fail with all its parts, one part with all its ways."""
    predicates: dict[str, list[str]] = {}
    alone: list[str] = []
    for subject, predicate in map(_clause, faults):
        if predicate:
            predicates.setdefault(predicate, []).append(subject)
        else:
            alone.append(subject)
    subjects: dict[tuple[str, ...], list[str]] = {}
    for predicate, names in predicates.items():
        subjects.setdefault(tuple(names), []).append(predicate)
    said = [f"{_one_of(names)} {_joined(predicates)}" for names, predicates in subjects.items()]
    first = fault_words(faults[0])
    said = [*alone, *said] if first in alone else [*said, *alone]
    more = f", or {len(said) - _CLAUSES} more such" if len(said) > _CLAUSES else ""
    return ", or ".join(said[:_CLAUSES]) + more


def evidence_words(diagnosis: Diagnosis) -> str:
    """The readings that speak most for the first cause: "logic-reversed reads 310.0 ohm, not 284.0 ohm"."""
    because = diagnosis.causes[0].because[:_READINGS] if diagnosis.causes else ()
    return "; ".join(map(deviation_words, because))


def deviation_words(deviation: Deviation) -> str:
    """What was read, and what a good board reads there."""
    value, expected = _pair(deviation.value, deviation.expected, deviation.unit)
    name = deviation.name.replace(" @ ", " at ")
    return f"{name} reads {value}, not {expected}"


def advice_words(diagnosis: Diagnosis) -> str:
    """What to do with the board as things stand."""
    if not diagnosis.causes or diagnosis.advice in _ADVICE:
        return _ADVICE.get(diagnosis.advice, _ADVICE["unknown"])
    first = diagnosis.causes[0]
    parts = _list(_bare(first.parts))
    if diagnosis.advice == "change":
        return f"change {parts}"
    if diagnosis.advice == "look":
        return f"look at {_place(first)} before anything is changed"
    if diagnosis.advice == "bench":
        return f"not the board: {cause_words(first)}; mend that, and test the board again"
    return f"cannot be told further by measuring; {_in_turn(first)}, and test"


def _in_turn(cause: Cause) -> str:
    """What to try of what cannot be told apart: solder first, which costs no part, then part after part."""
    bridges = [one for one in cause.hypotheses if one.defect is Defect.BRIDGE]
    others = [part for one in cause.hypotheses if one.defect is not Defect.BRIDGE for part in one.parts]
    parts = _list(list(dict.fromkeys(_bare(others))))
    nets = " and ".join(f"from {_nets(one)}" for one in bridges)
    solder = f"look for solder {nets}" if bridges else f"look at the joints of {parts}"
    return solder if not others else f"{solder}, then change {parts}{' one at a time' if ' and ' in parts else ''}"


def suggestion_words(suggestion: Suggestion, causes: Sequence[Cause]) -> str:
    """Where to put the needles, in which state, and what each answer would mean."""
    spot = suggestion.spot
    where = {"testpoint": "", "connector": " at the connector"}.get(
        spot.reach, f" on a leg of {_list(_bare(spot.parts))}"
    )
    node = spot.node.removeprefix(_OF_BOARD)
    net = "" if spot.name.lower() == node else f" (net {node})"
    at = f"{spot.name}{net}{where}, black on {spot.minus}"
    if suggestion.unit == "ohm":
        how = "power off and discharged, in ohms"
    else:
        how = f"in volts with power on at {suggestion.state}; {POWERED_CAUTION}"
    answers = "; ".join(_answers(suggestion.outcomes, causes, suggestion.unit))
    return f"{at}, {how}{f'. {answers}' if answers else ''}"


def next_words(diagnosis: Diagnosis) -> str:
    """The measurement that is worth most; empty where nothing would tell more."""
    return suggestion_words(diagnosis.next[0], diagnosis.causes) if diagnosis.next else ""


def fault_words(hypothesis: Hypothesis) -> str:
    """One fault by itself: "Q12 is open at its collector"."""
    subject, predicate = _clause(hypothesis)
    return f"{subject} {predicate}".strip()


def coverage_summary(coverage: Coverage) -> str:
    """How many of the faults fail a board, in one sentence."""
    every = len(coverage.seen) + len(coverage.within_limits) + len(coverage.invisible)
    return (
        f"{coverage.board} on {coverage.fixture}: of {every} single faults {len(coverage.seen)} fail the board "
        f"({100 * coverage.share:.0f} %), {len(coverage.within_limits)} move readings that stay within their limits, "
        f"{len(coverage.invisible)} no reading of the procedure can see"
    )


def by_part(sights: Iterable[Sight]) -> list[tuple[str, list[str]]]:
    """Faults gathered by their part, such as ("R5A", ["open", "missing"]).

    Parts in the order of their names, those of the fixture after those of the board, bridges last.
    """
    found: dict[str, list[str]] = {}
    for sight in sights:
        subject, predicate = _clause(sight.hypothesis)
        where, _, how = predicate.rpartition("is ")
        found.setdefault(f"{subject} {where}".strip(), []).append(how.removesuffix(_WRONG) or "bridged")
    gathered = [(part, _shortened(ways)) for part, ways in found.items()]
    return sorted(gathered, key=lambda each: (each[0].startswith("solder"), "in the fixture" in each[0], each[0]))


def _shortened(ways: list[str]) -> list[str]:
    """Ways to fail, all legs of a transistor together."""
    for start, said in (("open at its ", "open at any leg"), ("short from ", "short between any two legs")):
        legs = [way for way in ways if way.startswith(start)]
        if len(legs) == len(_LEGS):
            ways = [said, *(way for way in ways if way not in legs)]
    return ways


def _clause(hypothesis: Hypothesis) -> tuple[str, str]:
    """Subject and predicate of a fault; where it is no part's, the predicate is empty."""
    where = "in the fixture " if hypothesis.kind is Kind.FIXTURE else ""
    parts = _list(_bare(hypothesis.parts))
    match hypothesis.defect:
        case Defect.BRIDGE:
            joined = " and ".join(hypothesis.mode.split("-", 1))
            return f"solder {where}joins {joined}, between {_some(hypothesis)}", ""
        case Defect.VALUE:
            return parts, f"{where}{hypothesis.mode}{_WRONG}"
        case Defect.NONE:
            return "nothing: a good board whose readings came out wrong", ""
        case Defect.WIRING | Defect.CONTACT | Defect.BIAS | Defect.UNKNOWN:
            return hypothesis.name, ""
    return parts, f"{where}is {_mode(hypothesis)}"


def _some(hypothesis: Hypothesis) -> str:
    """The neighbours where a bridge may lie."""
    names = _bare(hypothesis.parts)
    return _list([*names[:_NAMED], *([f"{len(names) - _NAMED} more"] if len(names) > _NAMED else [])])


def _bare(parts: Sequence[str]) -> list[str]:
    """Names of parts as they are printed; that of a fixture's part says so in the netlist only."""
    return [part.removeprefix(_OF_FIXTURE) for part in parts]


def _mode(hypothesis: Hypothesis) -> str:
    """How it fails, legs by their names."""
    mode, _, legs = hypothesis.mode.partition("-")
    if mode == "open" and legs in _LEGS:
        return f"open at its {_LEGS[legs]}"
    if mode == "short" and legs and all(leg in _LEGS for leg in legs):
        return f"short from {' to '.join(_LEGS[leg] for leg in legs)}"
    if mode == "stuck":
        return f"stuck {legs}"
    return _PLAIN.get(hypothesis.defect, hypothesis.mode)


def _one_of(names: Sequence[str]) -> str:
    if len(names) == 1:
        return names[0]
    more = f" or {len(names) - _NAMED} more" if len(names) > _NAMED else ""
    return f"one of {', '.join(names[:_NAMED])}{more}"


def _joined(predicates: Sequence[str]) -> str:
    """ "is open" and "is missing" are "is open or missing"."""
    first, *others = predicates
    return " or ".join([first, *(said.rpartition("is ")[2] for said in others)])


def _list(names: Sequence[str]) -> str:
    return " and ".join(", ".join(names).rsplit(", ", 1))


def _place(cause: Cause) -> str:
    """Where to look: at the solder, the joints, the wire."""
    first = cause.hypotheses[0]
    if first.defect is Defect.BRIDGE:
        return f"the solder from {_nets(first)}, between {_some(first)},"
    return _list(_bare(cause.parts)) or fault_words(first)


def _nets(bridge: Hypothesis) -> str:
    return " to ".join(bridge.mode.split("-", 1))


def _pair(value: float | None, expected: float | None, unit: str) -> tuple[str, str]:
    """Two values with as few digits as tell them apart."""
    for digits in (3, 4, 5):
        texts = (_shown(value, unit, digits), _shown(expected, unit, digits))
        if texts[0] != texts[1]:
            return texts
    return _shown(value, unit, 6), _shown(expected, unit, 6)


def _shown(value: float | None, unit: str, digits: int) -> str:
    return "over range" if value is None else show(value, unit, digits)


def _answers(outcomes: Mapping[str, float | None], causes: Sequence[Cause], unit: str) -> Iterator[str]:
    """What each answer would mean, the likeliest first; faults that would read about the same stand together."""
    known = {one.name: one for cause in causes for one in cause.hypotheses}
    answers: list[tuple[float | None, list[Hypothesis]]] = []
    for name, value in outcomes.items():
        if name not in known:
            continue
        same = next((faults for read, faults in answers if _alike(read, value)), None)
        if same is None:
            answers.append((value, [known[name]]))
        else:
            same.append(known[name])
    for value, faults in answers[:_ANSWERS]:
        about = "over range" if value is None else f"about {show(value, unit, 3)}"
        yield f"{about}: {_any_of(faults)}"


def _alike(one: float | None, other: float | None) -> bool:
    if one is None or other is None:
        return one is other
    return abs(one - other) <= _ALIKE * max(abs(one), abs(other))
