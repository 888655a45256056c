"""A finding on the disk, `reports/<batch>/finding.<n>.json`: what probably failed on a board, by what a test read.

It is an opinion that came later, and no part of the record that it is about: a record of its own, which names that one
by its hash and is linked into the station's chain. It keeps its own words, so that it says in years what it said then.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from batchtest.records.linked import Shelf


@dataclass(frozen=True, slots=True, kw_only=True)
class Likely:
    """One cause, or several that no reading so far tells apart.

    Parameters
    ----------
    faults : each with its part first, such as "R5B open".
    parts : the parts in question, one for each that a repairer may have to look at.
    probability : of all of `faults` together, 0 to 1.
    words : as a repairer would say it.
    """

    faults: tuple[str, ...]
    parts: tuple[str, ...]
    probability: float
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Probed:
    """A value that a person measured afterwards.

    Parameters
    ----------
    point : the test point of the board, as it is printed there.
    value : base unit; `None` where the meter was over range.
    state : what was powered; empty where nothing was.
    """

    point: str
    value: float | None
    unit: str
    state: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """What was found out of the readings of one attempt, and of those that were taken by hand since.

    Parameters
    ----------
    number : counted from 1 in its batch, all boards together; 0 until it is written.
    about, about_sha256 : the record that it is about, from the reports folder, and that record's own hash.
    causes : the most probable first.
    unknown : probability that nothing of the fault table is the cause, 0 to 1.
    says : the readings that speak most, in words.
    advice : what to change, or that it cannot be told further.
    next : what to measure next, and where; empty where nothing would tell more.
    table_sha256 : of the fault table: circuits, limits and fixture as they were then.
    learned : records of the reworks whose cures weighed in, from the reports folder.
    written : wall time with offset.
    sha256 : its own hash in the chain of the station; empty until it is written.
    """

    number: int
    batch: str
    serial: str
    station: str
    about: str
    about_sha256: str
    causes: tuple[Likely, ...]
    unknown: float
    says: str
    advice: str
    table_sha256: str
    software: str
    written: datetime
    next: str = ""
    probed: tuple[Probed, ...] = ()
    learned: tuple[str, ...] = ()
    sha256: str = ""


_SHELF = Shelf("finding", TypeAdapter(Finding), "finding.")


def write_finding(reports: Path, finding: Finding) -> Finding:
    """Put a finding on the disk for good, and give it back with its number and hash.

    Raises
    ------
    RecordError : it is not on the disk; no file of it is left.
    """
    return _SHELF.write(reports, finding, f"the finding on {finding.serial} of batch {finding.batch} is not written")


def read_findings(reports: Path, batch: str, about: str | None = None) -> tuple[Finding, ...]:
    """The findings of a batch, or those about one of its records, in the order in which they were written; verified.

    Raises
    ------
    RecordError : one is damaged, altered, of another batch, or was taken out; names the file and the cure.
    """
    return tuple(found for found in _SHELF.read(reports, batch) if about in (None, found.about))


def finding_file(finding: Finding) -> str:
    """Name of its file, in the folder of its batch."""
    return _SHELF.path(Path(), finding.number).name


def finding_table(finding: Finding) -> dict[str, Any]:
    """A finding as the JSON object that its file holds, but for its place in the chain."""
    return _SHELF.as_table(finding)


def latest(findings: Iterable[Finding], about: str) -> Finding | None:
    """The last finding about a record; `None` where there is none."""
    found = [finding for finding in findings if finding.about == about]
    return found[-1] if found else None
