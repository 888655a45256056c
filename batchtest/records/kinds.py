"""Every kind of record that is linked into a station's chain: how its file is named, and how its link is read.

A new kind is one entry in `KINDS`. Most are one JSON object whose `sha256` is over all its other keys, as a waiver is.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Any

from batchtest.errors import RecordError
from batchtest.records.attempt_link import attempt_link
from batchtest.records.damage import Damage, Link, moment, salvaged
from batchtest.records.disk import on_disk
from batchtest.records.linked import due_hash
from batchtest.records.metadata import laid_out

#: The file name that belongs to a JSON object.
NameOf = Callable[[Mapping[str, Any]], str]


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of record: its name, the pattern of the file that carries its link, and how that is read."""

    name: str
    pattern: re.Pattern[str]
    read: Callable[[Path], Link]


def json_link(kind: str, file_name: NameOf, at: str) -> Callable[[Path], Link]:
    """A reader for records of one JSON object with the keys `station`, `batch`, `previous_sha256` and `sha256`.

    Parameters
    ----------
    file_name : which name belongs to an object; in another place it was moved or renamed.
    at : key of the time that it tells of.
    """

    def read(path: Path) -> Link:
        record = f"{path.parent.name}/{path.name}"
        with on_disk(f"{path} cannot be read"):
            data = path.read_bytes()
        try:
            found = json.loads(data.decode())
            sha256, previous, due = str(found["sha256"]), str(found["previous_sha256"]), due_hash(found)
            place = f"{found['batch']}/{file_name(found)}"
            station, when, sequence = str(found["station"]), moment(found[at]), found.get("sequence")
        except (ValueError, KeyError, TypeError, AttributeError) as error:
            return salvaged(record, data, f"is no {kind} any more ({error!r})")
        damage = list(_faults(record, place, due == sha256, laid_out(found).encode() == data))
        return Link(
            record=record,
            station=station,
            previous=previous,
            sha256=sha256,
            due=due,
            at=when,
            sequence=sequence,
            damage=tuple(damage),
        )

    return read


def _faults(record: str, place: str, intact: bool, as_laid_out: bool) -> Iterator[Damage]:
    if not intact:
        yield Damage(record=record, field="one of its values", what="is not what was written: its hash is another")
    elif not as_laid_out:
        yield Damage(record=record, field="blanks or line ends", what="are not as they were written")
    if intact and place != record:
        yield Damage(record=record, field="name", what=f"belongs to {place}; it was moved, renamed or copied")


def print_link(path: Path) -> Link:
    """Read the link of a print of a certificate; its sheet must be what was printed, where it is still beside it."""
    link = _PRINT_LINK(path)
    sheet = path.with_suffix(".pdf")
    if link.damage or not sheet.exists():
        return link
    with on_disk(f"{sheet} cannot be read"):
        same = hashlib.sha256(sheet.read_bytes()).hexdigest() == json.loads(path.read_bytes())["pdf_sha256"]
    if same:
        return link
    what = f"is not the sheet that was printed: {path.name} has another hash of it"
    return replace(link, damage=(Damage(record=f"{sheet.parent.name}/{sheet.name}", field="", what=what),))


_PRINT_LINK = json_link(
    "print of a certificate",
    lambda found: f"{found['serial']}.{found['attempt']}.certificate-{found['number']}.json",
    "printed",
)

KINDS = (
    Kind("attempt", re.compile(r".+\.[1-9][0-9]*\.csv-metadata\.json"), attempt_link),
    Kind(
        "waiver",
        re.compile(r"waiver\.[1-9][0-9]*\.json"),
        json_link("waiver", lambda found: f"waiver.{found['number']}.json", "written"),
    ),
    Kind(
        "note",
        re.compile(r"note\.[1-9][0-9]*\.json"),
        json_link("note", lambda found: f"note.{found['number']}.json", "written"),
    ),
    Kind(
        "finding",
        re.compile(r"finding\.[1-9][0-9]*\.json"),
        json_link("finding", lambda found: f"finding.{found['number']}.json", "written"),
    ),
    Kind(
        "certificate",
        re.compile(r".+\.[1-9][0-9]*\.certificate-[1-9][0-9]*\.json"),
        print_link,
    ),
)


def kind_of(path: Path) -> Kind | None:
    """The kind of record that a file carries the link of; `None` where it carries none."""
    return next((kind for kind in KINDS if kind.pattern.fullmatch(path.name)), None)


def newest_moment(reports: Path, record: str) -> datetime | None:
    """The time that a record tells of, by its path from the reports folder; `None` where that cannot be read."""
    path = reports / (f"{record}-metadata.json" if record.endswith(".csv") else record)
    kind = kind_of(path)
    try:
        return kind.read(path).at if kind else None
    except RecordError:
        return None
