"""A board that was tested before: what became of it is shown, and a person says why it is tested again."""

from __future__ import annotations

import sys
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import SetupError, nearest
from batchtest.formulas import formula_fault
from batchtest.nouns import Attempt, Reason, Retest
from batchtest.pages.notes import note_line
from batchtest.pages.render import moment
from batchtest.records.history import Earlier, History, history_of, not_passed_elsewhere
from batchtest.records.people import letters, name_fault, tidy

if TYPE_CHECKING:
    from batchtest.commands.screen import Screen
    from batchtest.sequencer import Past

#: The longest text beside a reason, in letters.
MOST_LETTERS = 240
#: So many boards are named where nobody can be asked; the others are counted.
_MOST_NAMED = 5


@dataclass(frozen=True, slots=True)
class Answer:
    """Why boards are tested again, said beforehand, and who else answers for more retests than the limits allow."""

    reason: Reason | None = None
    text: str = ""
    second: str = ""


def parse_reason(written: str) -> tuple[Reason, str]:
    """A reason and what stands behind its colon: "re-seated", or "other: the lid was open".

    Raises
    ------
    SetupError : no such reason, or an "other" that says nothing.

    Examples
    --------
    >>> parse_reason("other: the lid was open")
    (<Reason.OTHER: 'other'>, 'the lid was open')
    """
    word, _, rest = written.partition(":")
    name, text = word.strip().lower().replace(" ", "-"), tidy(rest)
    if name not in list(Reason):
        known = [reason.value for reason in Reason]
        raise SetupError(f"reason {written!r} is none; {nearest(name, known)}; such as 'other: the lid was open'")
    if Reason(name) is Reason.OTHER and not text:
        raise SetupError(f"reason {written!r} says nothing; write it such as 'other: the lid was open'")
    if len(text) > MOST_LETTERS or not text.isprintable():
        raise SetupError(f"reason {written!r} will not do; write {MOST_LETTERS} letters at most, on one line")
    if fault := formula_fault(text):
        raise SetupError(f"reason {written!r} {fault}")
    return Reason(name), text


def answer_of(reason: str | None, second: str | None, operator: str) -> Answer:
    """What was said on the command line.

    Raises
    ------
    SetupError : no such reason, or a second person who is none, or the first.
    """
    if second is not None:
        _check_second(second, operator)
    if reason is None:
        return Answer(second=tidy(second or ""))
    found, text = parse_reason(reason)
    return Answer(found, text, tidy(second or ""))


class Retests:
    """Looks up each board before it is placed, and has a person say why one is tested again.

    Parameters
    ----------
    allowed : how many retests one person may make of a board that was not reworked since.
    answer : what was said beforehand; what is missing is asked for where there is a terminal.
    """

    def __init__(self, reports: Path, batch: str, allowed: int, operator: str, answer: Answer, screen: Screen) -> None:
        self._reports, self._batch, self._allowed, self._operator = reports, batch, allowed, operator
        self._answer, self._screen = answer, screen
        self._retests: dict[str, Retest | None] = {}

    def require(self, serials: Sequence[str]) -> None:
        """See that every board can be tested without asking, where nobody can be asked.

        Raises
        ------
        SetupError : names boards that were tested before, and the option that is missing.
        """
        if sys.stdin.isatty():
            return
        found = [self._history(serial) for serial in serials]
        if unsaid := [past for past in found if self._unsaid(past)]:
            raise SetupError(f"{_tested(unsaid, self._batch)}; {_CURE_REASON}")
        if again := [past for past in found if self._wants_second(past) and not self._answer.second]:
            raise SetupError(f"{_tested(again, self._batch)}; {self._cure_second()}")

    def admit(self, serial: str) -> bool:
        """Show what is known of a board, and have it said why it is tested again; `False`: it is left out.

        Raises
        ------
        SetupError : nobody can be asked.
        """
        past = self._history(serial)
        for line in _told(past):
            self._screen.message(line)
        for attempt in not_passed_elsewhere(self._reports, self._batch, serial):
            self._screen.message(f"{serial} did not pass in batch {attempt.batch}: {_became(attempt)}")
        self._retests[serial] = None
        if not past.tested:
            return True
        self.require([serial])
        reason, text = self._reason(past)
        if reason is None:
            return False
        second = self._second(past)
        if second is None:
            return False
        self._retests[serial] = Retest(
            reason=reason,
            text=text,
            earlier=tuple(each.record for each in past.attempts),
            number=len(past.tests),
            second=second,
        )
        return True

    def past(self, serial: str) -> Past:
        """What a record says of the board's past: why it is tested again, and its notes as they stand now."""
        from batchtest.sequencer import Past

        return Past(self._retests.get(serial), self._history(serial).notes)

    def _history(self, serial: str) -> History:
        return history_of(self._reports, self._batch, serial)

    def _unsaid(self, past: History) -> bool:
        return past.tested and past.reworked is None and self._answer.reason is None

    def _wants_second(self, past: History) -> bool:
        return len(past.tests) > self._allowed

    def _reason(self, past: History) -> tuple[Reason | None, str]:
        """What was said beforehand; else the rework since the last test; else what the person picks."""
        if self._answer.reason is not None:
            return self._answer.reason, self._answer.text
        if past.reworked is not None:
            self._screen.message(f"{past.serial} is tested again after its rework")
            return Reason.REWORKED, note_line(past.reworked)
        return self._pick(past.serial)

    def _pick(self, serial: str) -> tuple[Reason | None, str]:
        reasons = list(Reason)
        listed = ", ".join(f"{number} {reason.value}" for number, reason in enumerate(reasons, start=1))
        while answer := self._screen.ask(f"why is {serial} tested again? {listed} (empty: leave it out) ").strip():
            named = reasons[int(answer) - 1].value if answer in map(str, range(1, len(reasons) + 1)) else answer
            if named == Reason.OTHER:
                named = f"other: {self._screen.ask('why, in a few words: ')}"
            try:
                return parse_reason(named)
            except SetupError as error:
                self._screen.message(str(error))
        return None, ""

    def _second(self, past: History) -> str | None:
        """Who else answers for this retest: empty where nobody has to, `None` where the board is left out."""
        if not self._wants_second(past):
            return ""
        if self._answer.second:
            return self._answer.second
        prompt = f"{self._more(past)}; name of the second person (empty: leave it out) "
        while answer := tidy(self._screen.ask(prompt)):
            try:
                _check_second(answer, self._operator)
            except SetupError as error:
                self._screen.message(str(error))
            else:
                return answer
        return None

    def _more(self, past: History) -> str:
        count = len(past.tests)
        return f"{past.serial} was tested {count} times since it was made or reworked: {self._rule()}"

    def _rule(self) -> str:
        retests = "one retest is" if self._allowed == 1 else f"{self._allowed or 'no'} retests are"
        return f"{retests} allowed, one more takes a second person"

    def _cure_second(self) -> str:
        return f"{self._rule()}: name one with --and, or write down the rework with batchtest note"


_CURE_REASON = (
    f"say why with --reason {'|'.join(reason.value for reason in Reason)} (such as "
    "--reason 'other: the lid was open'), or give boards that were never tested a --batch of their own"
)


def _check_second(second: str, operator: str) -> None:
    if fault := name_fault(tidy(second)) or formula_fault(tidy(second)):
        raise SetupError(f"--and: {fault}")
    if letters(second) == letters(operator):
        raise SetupError(f"--and {second!r} is the operator; a second person is another one")


def _tested(found: Sequence[History], batch: str) -> str:
    named = ", ".join(past.serial for past in found[:_MOST_NAMED])
    more = f" and {len(found) - _MOST_NAMED} more" if len(found) > _MOST_NAMED else ""
    last = next(_told(found[0]), "")
    return f"tested before in batch {batch}: {named}{more} ({last})"


def _told(past: History) -> Iterator[str]:
    """What became of each earlier attempt, the last first, and the notes."""
    for each in reversed(past.attempts):
        yield f"{past.serial} attempt {each.number} before: {state_of(each)}"
    for note in past.notes:
        yield f"{past.serial} {note_line(note)}"


def state_of(each: Earlier) -> str:
    """What became of an earlier attempt, when, and why."""
    if each.attempt is not None:
        return _became(each.attempt)
    return "begun and not closed" if each.open else f"its record is damaged: {each.damaged}"


def _became(attempt: Attempt) -> str:
    word = attempt.outcome.value if attempt.outcome == "pass" else attempt.outcome.value.upper()
    cause = f": {attempt.first_cause}" if attempt.first_cause else ""
    return f"{word} on {moment(attempt.started)}{cause}"
