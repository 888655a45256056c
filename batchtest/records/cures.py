"""What repairs taught: of every rework that names its part, whether the next test of that board passed.

Only a rework of one part between two tests tells which part it was; three replaced at once do not.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.nouns import Note, NoteKind, Outcome
from batchtest.records.closed import batch_folders
from batchtest.records.finding import Finding, latest, read_findings
from batchtest.records.history import Earlier, History, history_of
from batchtest.records.note import note_file, read_notes
from batchtest.records.record import read_sealed


@dataclass(frozen=True, slots=True, kw_only=True)
class Cure:
    """A part that was reworked, and what came of it.

    Parameters
    ----------
    part : as the note names it, in capitals.
    record : the note, from the reports folder; `about` is the record of the attempt that it was done for.
    alone : whether no other part was reworked before the next test.
    cured : whether the first test of the board in its batch that knew of the note passed; `None` where there was none.
    rank : place of the part among the causes of the last finding about that attempt, from 1; 0 where it was not among
        them, `None` where there is no finding.
    """

    board: str
    batch: str
    serial: str
    part: str
    record: str
    about: str
    written: datetime
    alone: bool
    cured: bool | None
    rank: int | None

    @property
    def tells(self) -> bool:
        """Whether this part alone was at fault."""
        return self.alone and self.cured is True


@dataclass(frozen=True, slots=True, kw_only=True)
class PartFigures:
    """What is known of one part of one kind of board.

    Parameters
    ----------
    reworked : how often it was reworked; `cured` of these the board passed then; `open`: not tested since.
    found, found_first : of the cures by this part alone that had a finding, how many there were, and in how many it
        stood first.
    months : month, such as "2026-03" -> cures by this part alone.
    records : the notes of these cures, from the reports folder.
    """

    board: str
    part: str
    reworked: int
    cured: int
    open: int
    found: int
    found_first: int
    months: Mapping[str, int]
    records: tuple[str, ...]


def cures_of(reports: Path) -> tuple[Cure, ...]:
    """Every rework that names a part, in all batches, in the order of batches and notes.

    A batch whose notes cannot be read tells nothing; `verify` says why. No folder is no cure.
    """
    if not reports.is_dir():
        return ()
    return tuple(cure for folder in batch_folders(reports) for cure in _of_batch(reports, folder.name))


def cured_counts(cures: Iterable[Cure], board: str) -> Mapping[str, int]:
    """How many boards of a kind each part alone was the cure of."""
    return Counter(cure.part for cure in cures if cure.board == board and cure.tells)


def part_figures(cures: Iterable[Cure]) -> tuple[PartFigures, ...]:
    """Figures for each part that was ever reworked: by board, the part that cured most boards first."""
    by_part: dict[tuple[str, str], list[Cure]] = {}
    for cure in cures:
        by_part.setdefault((cure.board, cure.part), []).append(cure)
    figures = [_figures(board, part, found) for (board, part), found in by_part.items()]
    return tuple(sorted(figures, key=lambda each: (each.board, -len(each.records), -each.reworked, each.part)))


def _figures(board: str, part: str, found: list[Cure]) -> PartFigures:
    told = [cure for cure in found if cure.tells]
    with_finding = [cure for cure in told if cure.rank is not None]
    return PartFigures(
        board=board,
        part=part,
        reworked=len(found),
        cured=sum(cure.cured is True for cure in found),
        open=sum(cure.cured is None for cure in found),
        found=len(with_finding),
        found_first=sum(cure.rank == 1 for cure in with_finding),
        months=dict(sorted(Counter(f"{cure.written:%Y-%m}" for cure in told).items())),
        records=tuple(cure.record for cure in told),
    )


def _of_batch(reports: Path, batch: str) -> Iterator[Cure]:
    try:
        notes = read_notes(reports, batch)
    except RecordError:
        return
    reworks = [note for note in notes if note.kind is NoteKind.REWORK and note.part]
    if not reworks:
        return
    findings = _findings(reports, batch)
    for serial in dict.fromkeys(note.serial for note in reworks):
        yield from _of_board(reports, history_of(reports, batch, serial), findings)


def _of_board(reports: Path, past: History, findings: tuple[Finding, ...]) -> Iterator[Cure]:
    reworks = [note for note in past.notes if note.kind is NoteKind.REWORK]
    knew = [(each, _notes_known(reports / each.record)) for each in past.attempts if each.tells]
    after = [next((each for each, known in knew if note.number in known), None) for note in reworks]
    board = next((each.attempt.board for each in past.attempts if each.attempt is not None), "")
    for note, test in zip(reworks, after, strict=True):
        together = {_part(other) for other, tested in zip(reworks, after, strict=True) if tested is test}
        if note.part:
            yield Cure(
                board=board,
                batch=note.batch,
                serial=note.serial,
                part=_part(note),
                record=f"{note.batch}/{note_file(note)}",
                about=note.about,
                written=note.written,
                alone=len(together) == 1,
                cured=_passed(test),
                rank=_rank(latest(findings, note.about), _part(note)),
            )


def _notes_known(record: Path) -> frozenset[int]:
    """Numbers of the notes that were there when an attempt began; none where that cannot be read any more."""
    try:
        return frozenset(note.number for note in read_sealed(record).closing.context.notes)
    except RecordError:
        return frozenset()


def _passed(test: Earlier | None) -> bool | None:
    """Whether a test passed; `None` where there was none, or nobody can read any more what became of it."""
    return None if test is None or test.attempt is None else test.attempt.outcome is Outcome.PASS


def _rank(finding: Finding | None, part: str) -> int | None:
    if finding is None:
        return None
    named = (place for place, cause in enumerate(finding.causes, start=1) if part in map(str.upper, cause.parts))
    return next(named, 0)


def _findings(reports: Path, batch: str) -> tuple[Finding, ...]:
    try:
        return read_findings(reports, batch)
    except RecordError:
        return ()


def _part(note: Note) -> str:
    return note.part.upper()
