"""What is found to be wrong with a record, and a record as a link of its station's chain."""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import datetime

_HASH = re.compile(rb'"(?:(previous_sha256|sha256)": ?"([0-9a-f]{64})"|(station)": ?"([A-Za-z0-9._-]{1,64})")')


@dataclass(frozen=True, slots=True, kw_only=True)
class Damage:
    """One thing wrong: the record's path from the reports folder, the place in it (may be empty), and what."""

    record: str
    field: str
    what: str

    def __str__(self) -> str:
        return f"{self.record}: {self.field}: {self.what}" if self.field else f"{self.record}: {self.what}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Link:
    """A link as it was read.

    Parameters
    ----------
    record : path from the reports folder, as the head of the chain names it.
    previous, sha256 : the hashes that it carries; `due` is the one that it should carry.
    at : the latest time that it tells of, where the chain should be in the order of these times.
    sequence : its number in the chain; `None` where none was counted yet.
    outcome : of an attempt; empty for other kinds.
    marked : by software that seals its pages.
    damage : what is wrong with it alone.
    """

    record: str
    station: str
    previous: str
    sha256: str
    due: str
    at: datetime | None
    sequence: int | None = None
    outcome: str = ""
    marked: bool = False
    damage: tuple[Damage, ...] = ()


def salvaged(record: str, data: bytes, what: str, field: str = "") -> Link:
    """What can still be found of a link whose file cannot be read, so that its neighbours are not blamed for it."""
    found = {(key or name).decode(): (sha256 or text).decode() for key, sha256, name, text in _HASH.findall(data)}
    return Link(
        record=record,
        station=found.get("station", ""),
        previous=found.get("previous_sha256", ""),
        sha256=found.get("sha256", ""),
        due="",
        at=None,
        damage=(Damage(record=record, field=field, what=what),),
    )


def moment(text: object) -> datetime | None:
    """A time with its offset; `None` for anything else."""
    try:
        found = datetime.fromisoformat(str(text))
    except ValueError:
        return None
    return found if found.tzinfo else None
