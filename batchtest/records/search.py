"""Which boards something touched: an instrument, a fixture, a cable, a person, told by the descriptions of all records.

The gathered files are not needed. What cannot be known is said: attempts that were never closed have no description,
and one that is damaged tells nothing.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from difflib import get_close_matches
from pathlib import Path

from batchtest.errors import RecordError, SetupError
from batchtest.nouns import Context, Outcome, Role
from batchtest.records.closed import batch_folders, list_batch
from batchtest.records.metadata import Closing
from batchtest.records.names import CSV
from batchtest.records.record import read_sealed

#: How many names a message may list.
_FEW = 12


def _instrument(role: Role) -> Callable[[Closing], str]:
    def serial(closing: Closing) -> str:
        return next((one.serial for one in closing.context.instruments if one.role is role), "")

    return serial


def _of_context(name: str) -> Callable[[Closing], str]:
    def value(closing: Closing) -> str:
        return str(getattr(closing.context, name))

    return value


#: What can be searched for, and how a description tells it.
FIELDS: Mapping[str, Callable[[Closing], str]] = {
    "meter serial": _instrument(Role.METER),
    "load serial": _instrument(Role.LOAD),
    "supply serial": _instrument(Role.SUPPLY),
    "scanner serial": _instrument(Role.SCANNER),
    "fixture": _of_context("fixture"),
    "cable": _of_context("cable"),
    "bench": _of_context("bench"),
    "station": _of_context("station"),
    "operator": _of_context("operator"),
    "board": _of_context("board"),
    "batch": _of_context("batch"),
    "serial": _of_context("serial"),
    "outcome": lambda closing: closing.outcome.value,
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What is searched for: values by the name of their field, and a span of time, both ends included."""

    values: Mapping[str, str] = field(default_factory=dict)
    since: datetime | None = None
    until: datetime | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Touched:
    """An attempt that was found: its record's path, and what its description says; `intact` where its hash is right."""

    record: Path
    closing: Closing
    intact: bool

    @property
    def context(self) -> Context:
        """Who, where, with what."""
        return self.closing.context


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """What a search came to.

    Parameters
    ----------
    attempts : by serial, then time.
    searched : how many descriptions were read.
    open : attempts that were begun and not closed, as "batch/serial.number"; whether they were touched is not known.
    damaged : descriptions that cannot be read, by path, and why.
    """

    attempts: tuple[Touched, ...]
    searched: int
    open: tuple[str, ...]
    damaged: Mapping[str, str]

    @property
    def boards(self) -> int:
        """How many boards, each counted once."""
        return len({(one.context.board, one.context.serial) for one in self.attempts})

    @property
    def outcomes(self) -> dict[Outcome, int]:
        """Attempts by outcome, all outcomes named."""
        return {outcome: sum(one.closing.outcome is outcome for one in self.attempts) for outcome in Outcome}


def search(reports: Path, wanted: Wanted) -> Found:
    """Read the description of every closed record below a reports folder, or of one batch's folder.

    Raises
    ------
    SetupError : a name that no record carries; says which one may have been meant.
    RecordError : the folder cannot be read.
    """
    listings = [list_batch(batch) for batch in batch_folders(reports)]
    damaged: dict[str, str] = {}
    paths = [name.path(listing.folder, CSV) for listing in listings for name in listing.records]
    known = list(_read(paths, damaged))
    _check_names(known, wanted)
    attempts = [one for one in known if _matches(one.closing, wanted)]
    return Found(
        attempts=tuple(sorted(attempts, key=lambda one: (one.context.serial, one.context.started))),
        searched=len(known),
        open=tuple(f"{one.folder.name}/{name.serial}.{name.number}" for one in listings for name in one.open),
        damaged=damaged,
    )


def _read(paths: Sequence[Path], damaged: dict[str, str]) -> Iterator[Touched]:
    for path in paths:
        try:
            sealed = read_sealed(path)
        except RecordError as error:
            damaged[str(path)] = str(error)
            continue
        yield Touched(record=path, closing=sealed.closing, intact=sealed.intact)


def _matches(closing: Closing, wanted: Wanted) -> bool:
    """Whether an attempt has all that is wanted, and was under way at some moment of the span."""
    if wanted.since is not None and closing.ended < wanted.since:
        return False
    if wanted.until is not None and closing.context.started > wanted.until:
        return False
    return all(FIELDS[name](closing) == value for name, value in wanted.values.items())


def _check_names(known: Sequence[Touched], wanted: Wanted) -> None:
    """Raise SetupError for every name that no record carries: a slip of the finger must not read as "none"."""
    wrong = []
    for name, value in wanted.values.items():
        there = (
            {str(outcome) for outcome in Outcome} if name == "outcome" else {FIELDS[name](one.closing) for one in known}
        )
        if value not in there:
            wrong.append(f"no record has {name} {value!r}; {_near(value, there - {''})}")
    if wrong:
        raise SetupError("\n".join(wrong))


def _near(value: str, there: set[str]) -> str:
    names = sorted(there)
    folded = {name.casefold(): name for name in names}
    if close := get_close_matches(value.casefold(), folded, n=1):
        return f"did you mean {folded[close[0]]!r}?"
    if not names:
        return "there are none"
    shown = ", ".join(names[:_FEW])
    return f"known: {shown}" if len(names) <= _FEW else f"{len(names)} are known, such as {shown}"
