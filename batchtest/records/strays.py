"""Files of a batch's folder that carry no link and look as if they belonged to a record."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from batchtest.records.batch import SUMMARY
from batchtest.records.damage import Damage
from batchtest.records.disk import on_disk
from batchtest.records.kinds import kind_of
from batchtest.records.metadata import BLOCK
from batchtest.records.names import CSV, METADATA, PART, AttemptName

#: What only a record has.
_CLAIM = re.compile(rb'"(?:previous_sha256|%s)"' % BLOCK.encode())
_SHEET = re.compile(r".+\.certificate-[1-9][0-9]*\.pdf")
_GROWING = ".part"


def unfinished_note(path: Path) -> str | None:
    """What to say of a file that grows, or grew until its station died; `None` for any other."""
    attempt, record = AttemptName.of(path), f"{path.parent.name}/{path.name}"
    if attempt is not None:
        return f"{record} is open: begun and not closed" if attempt[1] == PART else None
    if path.suffix == _GROWING and kind_of(path.with_suffix("")) is not None:
        return f"{record} was begun and not finished; it is no record"
    return None


def stray_damage(path: Path) -> Iterator[Damage]:
    """What is wrong with a file that is neither record nor page; nothing where it does not look like a record.

    Raises
    ------
    RecordError : it cannot be read.
    """
    attempt, record = AttemptName.of(path), f"{path.parent.name}/{path.name}"
    if attempt is not None:
        if attempt[1] == CSV and not path.with_name(path.name.removesuffix(CSV) + METADATA).exists():
            what = "has no description: it was added, or its description taken out"
            yield Damage(record=record, field="", what=what)
    elif path.name.endswith((CSV, METADATA)):
        yield Damage(record=record, field="name", what="is no name of a record: added or renamed")
    elif _SHEET.fullmatch(path.name):
        printed = path.with_suffix(".json")
        if not printed.exists() and not printed.with_name(printed.name + _GROWING).exists():
            yield Damage(record=record, field="", what="is a sheet that no record of a print tells of")
    elif path.suffix == ".json" and path.name != SUMMARY and _claims(path):
        yield Damage(record=record, field="name", what="claims to be a record, and this is no name of one")


def _claims(path: Path) -> bool:
    with on_disk(f"{path} cannot be read"):
        return _CLAIM.search(path.read_bytes()) is not None
