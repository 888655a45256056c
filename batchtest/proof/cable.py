"""The cable that is fitted: its readings taken one after another, and judged together.

A refusal names what seems to be fitted. All readings are taken before that, since nothing is powered and each helps.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from batchtest.cables import Explanation, Suspects
from batchtest.errors import NotProven
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement, Waiver
from batchtest.procedure.actions import Identify, Procedure, ProvePinMap
from batchtest.proof.entering import Enter, passed, rounded
from batchtest.quantities import show
from batchtest.records.excuse import excuse_of

#: How many of the readings that tell are named in a refusal.
NAMED = 2
#: Kind of explanation -> what the refusal speaks of, and what to do.
_SUBJECTS = {
    "cable": ("the cable", "Take it out at both ends, fit {own}"),
    "wiring": ("the cable", "Seat {own} at both ends, or mend it or take another one"),
    "fixture": ("the fixture", "Have it mended"),
    "unknown": ("what is fitted", "See to needles, {own} and fixture"),
    "board": ("what is fitted", "See to needles, {own} and fixture"),
}


@dataclass(slots=True)
class Memory:
    """Whether the cable was proven with the board before: that speaks for it when a board reads oddly."""

    proven: bool = False


@dataclass(slots=True)
class Cable:
    """What was read of the cable in the fixture so far."""

    reader: Reader
    suspects: Suspects
    memory: Memory
    waivers: Sequence[Waiver]
    enter: Enter
    lines: list[Line] = field(default_factory=list)

    def read(self, action: Identify | ProvePinMap) -> None:
        """Take the readings of one action.

        Raises
        ------
        NotProven : the pin map is read, and is that of another cable of the library.
        """
        self.lines += [self.enter(each, self.reader.settled(each)) for each in action.measurements]
        if isinstance(action, ProvePinMap) and (self.astray or self.excused):
            refuse_another(self.suspects, self.lines)

    def settled(self, checks: Sequence[Line]) -> bool:
        """Whether the cable is proven, once the board's own cold checks are known: they speak for or against it too.

        Returns
        -------
        False where a bad board explains what the cable's readings are.

        Raises
        ------
        NotProven : a fault of cable or fixture explains them; or nothing does, and the board's own checks are good.
        """
        if not self.astray:
            self.memory.proven = True
            return True
        found = self.explained(checks)
        if found.kind == "board" or (found.kind == "unknown" and not all(passed(line) for line in checks)):
            return False
        raise refusal(found, self.astray, self.suspects.signature.cable)

    @property
    def astray(self) -> list[Line]:
        """The lines that are not as the right cable makes them, and that no waiver excuses."""
        return [line for line in self.lines if not passed(line, self.waivers)]

    @property
    def excused(self) -> list[Line]:
        """The lines that a waiver excuses."""
        return [line for line in self.lines if excuse_of(line, self.waivers) is not None]

    def explained(self, checks: Sequence[Line]) -> Explanation:
        """What the readings look like. A second board in a row that reads oddly speaks against the cable."""
        counts = [line for line in self.lines if line not in self.excused]
        readings = {line.measurement.name: line.reading for line in (*counts, *checks)}
        trusted, self.memory.proven = self.memory.proven, False
        return self.suspects.explain(readings, trusted=trusted)


def refusal(found: Explanation, astray: Sequence[Line], own: str) -> NotProven:
    """The refusal of a cable: what seems to be fitted, the readings that say so, and what to do."""
    what, do = _SUBJECTS.get(found.kind, _SUBJECTS["cable"])
    telling = "; ".join(_against(line, own) for line in astray[:NAMED])
    return NotProven(
        f"{what} {found.words}. {telling}. Nothing was powered. {do.format(own=own)}, and begin again at this board.",
        looks_like=found.cable,
        told_by=[line.measurement.name for line in astray],
    )


def refuse_another(suspects: Suspects, lines: Sequence[Line]) -> None:
    """Refuse readings that are another cable's, waived or not: a waiver answers for what is missing, not for that.

    Raises
    ------
    NotProven : all readings together, those that are excused too, are those of another cable of the library.
    """
    found = suspects.explain({line.measurement.name: line.reading for line in lines}, cables_only=True)
    if found.kind == "cable":
        raise refusal(found, [line for line in lines if not passed(line)], suspects.signature.cable)


def read_again(reader: Reader, procedure: Procedure, waivers: Sequence[Waiver], *, enter: Enter) -> None:
    """Take the readings that tell the cable best once more, immediately before the output goes on.

    Raises
    ------
    NotProven : one of them is no longer what it was; nothing was powered.
    """
    lines = []
    for measurement in _repeated(procedure):
        line = enter(measurement, reader.settled(measurement))
        lines.append(line)
        if not passed(line, waivers):
            own = procedure.suspects.signature.cable
            raise NotProven(
                f"{_against(line, own)}, and it was right a moment ago; the cable has been changed or has come loose. "
                f"Nothing was powered. Seat {own} at both ends, and begin again at this board.",
                told_by=[measurement.name],
            )
    if not all(passed(line) for line in lines):
        refuse_another(procedure.suspects, lines)


def _repeated(procedure: Procedure) -> list[Measurement]:
    found: list[Measurement] = []
    for action in procedure.gate:
        if isinstance(action, Identify):
            found += action.measurements
        elif isinstance(action, ProvePinMap):
            found += action.repeated
    return found


def _against(line: Line, cable: str) -> str:
    """A reading beside what the right cable gives: "pin map spare: 0.71 ohm, with vent-lead more than 1 Mohm"."""
    measurement = line.measurement
    limit = measurement.limit
    if measurement.expected is not None:
        right = f"about {show(measurement.expected, measurement.unit, 3)}"
    else:
        right = f"more than {show(limit.lower if limit else None, measurement.unit, 3)}"
    return f"{measurement.name}: {rounded(line)}, with {cable} {right}"
