"""From a record to a finding: the opinion of a fault table, put into words and kept beside the record."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import RecordError, SetupError, nearest

if TYPE_CHECKING:
    from batchtest.diagnosis import Priors
    from batchtest.diagnosis.model import Diagnosis, FaultTable, Probed
    from batchtest.files.library import Setup
    from batchtest.records import finding as findings
    from batchtest.records.record import Record

#: What a meter shows for over range, as a person types it.
_OVER_RANGE = ("OL", "OPEN", "OVER RANGE")


@dataclass(frozen=True, slots=True, kw_only=True)
class Opinion:
    """What was found, as values, as words, and the values measured by hand that it rests on as well."""

    diagnosis: Diagnosis
    finding: findings.Finding
    probed: tuple[Probed, ...]


@dataclass(frozen=True, slots=True)
class Finder:
    """Finds likely causes with one fault table; `learned` are the records of the cures that weigh in."""

    table: FaultTable
    priors: Priors
    learned: tuple[str, ...]

    def find(self, record: Record, probed: Sequence[Probed]) -> Opinion:
        """The opinion on a record and on what was measured by hand since; of one place and state the last value."""
        from batchtest.diagnosis import diagnose

        last = tuple({(each.spot, each.unit, each.state): each for each in probed}.values())
        diagnosis = diagnose(self.table, record.lines, self.priors, last)
        return Opinion(diagnosis=diagnosis, finding=_finding(record, diagnosis, last, self.learned), probed=last)


def finder_of(setup: Setup, table: FaultTable, reports: Path, *, returned: bool = False) -> Finder:
    """A finder that knows what defects are common, and what repairs of this kind of board taught."""
    from batchtest.diagnosis import NEW, RETURNED, learned
    from batchtest.records.cures import cured_counts, cures_of

    cures = [cure for cure in cures_of(reports) if cure.board == setup.board and cure.tells]
    priors = learned(RETURNED if returned else NEW, cured_counts(cures, setup.board))
    return Finder(table, priors, tuple(cure.record for cure in cures))


def readable(path: Path) -> Record:
    """Read a record that nobody has altered, of a board.

    Raises
    ------
    RecordError : it cannot be read, or is not what was closed there: no opinion is built on it.
    SetupError : it is of a host, of which there is no fault table.
    """
    from batchtest.records.record import read_record

    record = read_record(path)
    if not record.unaltered or record.context.batch != path.parent.name:
        raise RecordError(f"{path} is not what it was when it was closed; restore it and its description from a copy")
    if record.context.kind != "board":
        raise SetupError(f"{path} is of a host; only boards have a fault table")
    return record


def not_passed(reports: Path, batch: str) -> Iterator[Path]:
    """The record of the last test of each board of a batch, where that was no pass.

    Raises
    ------
    SetupError : there is no such batch.
    """
    from batchtest.nouns import Outcome
    from batchtest.records.batch import OF_THE_BOARD, batch_summary
    from batchtest.records.closed import batch_folders

    known = [folder.name for folder in batch_folders(reports)] if reports.is_dir() else []
    if batch not in known:
        raise SetupError(f"no batch {batch!r} in {reports}; {nearest(batch, known)}")
    last = {each.serial: each for each in batch_summary(reports / batch).attempts if each.outcome in OF_THE_BOARD}
    yield from (reports / each.record for each in last.values() if each.outcome is not Outcome.PASS)


def keep(record: Record, opinion: Opinion) -> str | None:
    """Write a finding that says something new, and the pages anew; gives the name of its file, or `None`.

    Raises
    ------
    RecordError : it is not on the disk.
    """
    from batchtest.pages import write_attempt_page, write_batch_page
    from batchtest.records.finding import finding_file, read_findings, write_finding

    finding, reports = opinion.finding, record.path.parent.parent
    before = read_findings(reports, finding.batch, finding.about)
    same = before and replace(before[-1], number=0, sha256="", written=finding.written) == finding
    if opinion.diagnosis.advice == "nothing" or same:
        return None
    written = write_finding(reports, finding)
    write_attempt_page(record.path)
    write_batch_page(record.path.parent)
    return finding_file(written)


def last_probed(record: Record) -> tuple[Probed, ...]:
    """What was measured by hand for the last finding about a record."""
    from batchtest.diagnosis.model import Probed
    from batchtest.pages.attempt import record_name
    from batchtest.records.finding import read_findings

    folder = record.path.parent
    before = read_findings(folder.parent, folder.name, record_name(record))
    return tuple(
        Probed(spot=each.point, value=each.value, unit="V" if each.unit == "V" else "ohm", state=each.state)
        for each in (before[-1].probed if before else ())
    )


def parse_read(text: str, table: FaultTable) -> Probed:
    """A value as a person types it: "TP7=4.9V" (powered), "TP7=1.2kohm", "TP7=OL", "TP7@soft start 12 V=3.1V".

    Raises
    ------
    SetupError : no such point or state, or no value with its unit; says what there is.
    """
    from batchtest.diagnosis.model import Probed
    from batchtest.quantities import parse

    where, equals, value = text.partition("=")
    name, _, state = (part.strip() for part in where.partition("@"))
    if not equals:
        raise SetupError(f"--read {text!r} is no reading; write point and value with its unit, such as TP7=4.9V")
    spots = {spot.upper(): spot for spot in table.spots}
    if name.upper() not in spots:
        raise SetupError(f"--read {text!r}: no point {name!r} on {table.board}; {nearest(name.upper(), list(spots))}")
    if state and state not in table.states:
        raise SetupError(f"--read {text!r}: no state {state!r}; {nearest(state, table.states)}")
    spot = spots[name.upper()]
    if value.strip().upper() in _OVER_RANGE:
        return Probed(spot=spot, value=None, unit="ohm")
    try:
        return Probed(spot=spot, value=float(parse(value.strip(), "V")), unit="V", state=state)
    except ValueError:
        pass
    try:
        return Probed(spot=spot, value=float(parse(value.strip(), "ohm")), unit="ohm")
    except ValueError as error:
        raise SetupError(
            f"--read {text!r}: {value.strip()!r} is no voltage and no resistance; write it such as 4.9V, 1.2kohm, or OL"
        ) from error


def changed_files(record: Record, setup: Setup) -> list[str]:
    """Files that the test rested on and that are others today, as far as the record has their hashes."""
    then = record.context.file_hashes
    return sorted(name for name, sha256 in setup.hashes.items() if name in then and then[name] != sha256)


def _finding(
    record: Record, diagnosis: Diagnosis, probed: tuple[Probed, ...], learned: tuple[str, ...]
) -> findings.Finding:
    from datetime import datetime

    from batchtest.diagnosis import words
    from batchtest.pages.attempt import record_name
    from batchtest.pages.render import software
    from batchtest.records.finding import Finding, Likely
    from batchtest.records.finding import Probed as Kept

    return Finding(
        number=0,
        batch=record.path.parent.name,
        serial=record.context.serial,
        station=record.context.station,
        about=record_name(record),
        about_sha256=record.sha256,
        causes=tuple(
            Likely(
                faults=tuple(one.name for one in cause.hypotheses),
                parts=cause.parts,
                probability=_rounded(cause.probability),
                words=words.cause_words(cause),
            )
            for cause in diagnosis.causes[: words.CAUSES]
        ),
        unknown=_rounded(diagnosis.unknown),
        says=words.evidence_words(diagnosis),
        advice=words.advice_words(diagnosis),
        next=words.next_words(diagnosis),
        table_sha256=diagnosis.table,
        software=software(),
        written=datetime.now().astimezone().replace(microsecond=0),
        probed=tuple(Kept(point=each.spot, value=each.value, unit=each.unit, state=each.state) for each in probed),
        learned=learned,
    )


def _rounded(probability: float) -> float:
    return round(float(probability), 4)
