"""What is known of a board before it is tested: earlier attempts, notes, and what counts as a retest."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Note, NoteKind
from batchtest.records.batch import OF_THE_BOARD
from batchtest.records.challenge import BATCH as CHALLENGES
from batchtest.records.disk import on_disk
from batchtest.records.names import CSV, PART, AttemptName, attempt_files
from batchtest.records.note import read_notes
from batchtest.records.record import attempt_of, read_sealed


@dataclass(frozen=True, slots=True)
class Earlier:
    """An attempt that was made before.

    Parameters
    ----------
    record : its record, from the reports folder.
    attempt, ended, sha256 : as its record says; `None` and empty where it is open or damaged.
    open : begun and not closed: it runs elsewhere, or its station died. Nothing was told of the board.
    damaged : what is wrong with its record; empty where nothing is.
    """

    record: str
    number: int
    attempt: Attempt | None
    ended: datetime | None = None
    sha256: str = ""
    open: bool = False
    damaged: str = ""

    @property
    def tells(self) -> bool:
        """Whether it was a test of the board; what nobody can read any more may have been one."""
        return bool(self.damaged) or (self.attempt is not None and self.attempt.outcome in OF_THE_BOARD)


@dataclass(frozen=True, slots=True)
class History:
    """What is known of one board in one batch, attempts and notes each in order."""

    serial: str
    attempts: tuple[Earlier, ...]
    notes: tuple[Note, ...]

    @property
    def reworked(self) -> Note | None:
        """The last rework, where the board was not tested since."""
        last = self._last_rework()
        return last if last is not None and not self.tests else None

    @property
    def tests(self) -> tuple[Earlier, ...]:
        """The attempts that were tests of the board, since it was last reworked: one more is a retest."""
        last = self._last_rework()
        told = tuple(each for each in self.attempts if each.tells)
        return told if last is None else tuple(each for each in told if each.number > _number(last.about))

    @property
    def tested(self) -> bool:
        """Whether it was ever tested in this batch, however often it was reworked since."""
        return any(each.tells for each in self.attempts)

    def _last_rework(self) -> Note | None:
        return next((note for note in reversed(self.notes) if note.kind is NoteKind.REWORK), None)


def history_of(reports: Path, batch: str, serial: str) -> History:
    """Look up a board in the folder of its batch, which need not be there.

    Raises
    ------
    RecordError : the folder or a note cannot be read. A damaged record is no error; it is listed.
    """
    folder = reports / batch
    if not folder.is_dir():
        return History(serial, (), ())
    with on_disk(f"{folder} cannot be read"):
        found = sorted((name.number, ending) for name, ending in attempt_files(folder) if name.serial == serial)
    attempts = tuple(_earlier(AttemptName(serial, n), folder, ending) for n, ending in found if ending in (CSV, PART))
    return History(serial, attempts, read_notes(reports, batch, serial))


def batches_of(reports: Path, serial: str) -> list[str]:
    """Names of the batches in which a board was seen, sorted; challenges are none.

    Raises
    ------
    RecordError : the folder cannot be read.
    """
    if not reports.is_dir():
        return []
    with on_disk(f"{reports} cannot be read"):
        return sorted(
            folder.name
            for folder in reports.iterdir()
            if folder.is_dir()
            and folder.name != CHALLENGES
            and any(name.serial == serial for name, _ in attempt_files(folder))
        )


def not_passed_elsewhere(reports: Path, batch: str, serial: str) -> Iterator[Attempt]:
    """Of each other batch, the last test of a board, where that was no pass: a new name makes no new board."""
    for other in batches_of(reports, serial):
        if other != batch:
            told = _told(history_of(reports, other, serial).attempts)
            yield from (attempt for attempt in told[-1:] if attempt.outcome != "pass")


def _told(attempts: Sequence[Earlier]) -> list[Attempt]:
    return [each.attempt for each in attempts if each.attempt is not None and each.tells]


def _earlier(name: AttemptName, folder: Path, ending: str) -> Earlier:
    path = name.path(folder, CSV)
    record = f"{folder.name}/{path.name}"
    if ending == PART:
        return Earlier(record, name.number, None, open=True)
    try:
        sealed = read_sealed(path)
    except RecordError as error:
        return Earlier(record, name.number, None, damaged=str(error))
    return Earlier(record, name.number, attempt_of(sealed.closing, path), sealed.closing.ended, sealed.sha256)


def _number(record: str) -> int:
    """Number of the attempt that a record is of."""
    found = AttemptName.of(Path(record))
    return found[0].number if found else 0
