"""The chain of a station's records: each carries the hash of the one before, so that an edit or a gap shows.

The head of the chain is `reports/.chain-<station>`. It is written before a record takes its final name and again after,
so that a station that dies between the two leaves a head that says so, and the next record follows on the last one that
was finished.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import asdict, dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from batchtest.errors import RecordError
from batchtest.records.disk import on_disk, write_whole

#: What the first record of a station carries in place of a hash.
BEGINNING = "0" * 64
#: Hex digits of a hash that are enough to compare by eye with a printed page.
SHORT = 12
#: How long to wait for another process of the same station, s.
LOCK_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The newest link: its hash, the hash before it, its record (path from the reports folder), whether it is done.

    `sequence` counts the links of the station from 1; 0 where nobody counted yet.
    """

    sha256: str
    previous: str
    record: str
    finished: bool
    sequence: int = 0


class Chain:
    """A station's chain, held locked: `previous` is what the next record follows on, `sequence` its number there."""

    def __init__(self, reports: Path, station: str) -> None:
        self._path = head_file(reports, station)
        self.previous, last = _newest(reports, station)
        self.sequence = last + 1

    def announce(self, sha256: str, record: str) -> None:
        """Say which record is about to take its name."""
        self._announced(sha256, record, finished=False)

    def finish(self, sha256: str, record: str) -> None:
        """Say that the announced record has its name, and its name is synced: it is in the chain for good.

        Where the disk does not take this, the record itself says so by being there.
        """
        with suppress(OSError):
            self._announced(sha256, record, finished=True)

    def _announced(self, sha256: str, record: str, *, finished: bool) -> None:
        head = Head(sha256=sha256, previous=self.previous, record=record, finished=finished, sequence=self.sequence)
        write_whole(self._path, head_text(head))


def head_file(reports: Path, station: str) -> Path:
    """Where the head of a station's chain is kept."""
    return reports / f".chain-{station}"


def head_text(head: Head) -> str:
    """What the file of a head holds; a chain in which nobody counted yet has no `sequence`."""
    said = asdict(head)
    if not head.sequence:
        del said["sequence"]
    return json.dumps(said, indent=1) + "\n"


def read_head(reports: Path, station: str) -> Head | None:
    """What the head of a station's chain says; `None` where it has none.

    Raises
    ------
    RecordError : it is damaged, or cannot be read.
    """
    path = head_file(reports, station)
    if not path.exists():
        return None
    with on_disk(f"{path} cannot be read"):
        text = path.read_bytes()
    try:
        return Head(**json.loads(text.decode()))
    except (ValueError, TypeError) as error:
        cure = "restore it from a copy, or move it away to begin a new chain"
        raise RecordError(f"{path} is damaged; {cure}") from error


def head(reports: Path, station: str) -> str | None:
    """The hash of the newest record of a station, whatever its kind; `None` where it has none.

    Raises
    ------
    RecordError : the head is damaged, or cannot be read.
    """
    sha256, _ = _newest(reports, station)
    return None if sha256 == BEGINNING else sha256


def _newest(reports: Path, station: str) -> tuple[str, int]:
    """Hash and number of the last link that is done; `BEGINNING` and 0 where there is none."""
    head = read_head(reports, station)
    if head is None:
        return BEGINNING, 0
    if is_done(reports, head):
        return head.sha256, head.sequence
    return head.previous, max(0, head.sequence - 1)


def is_done(reports: Path, head: Head) -> bool:
    """Whether the record that a head names has its name; else the station died before, and the one before is newest."""
    return head.finished or (reports / head.record).exists()


def short(sha256: str) -> str:
    """The beginning of a hash, in fours, as it is printed on a page.

    >>> short("3f2a91c077de" + 52 * "0")
    '3f2a 91c0 77de'
    """
    return " ".join(sha256[start : start + 4] for start in range(0, SHORT, 4))


@contextmanager
def locked_chain(reports: Path, station: str) -> Iterator[Chain]:
    """Hold a station's chain, one process at a time.

    Raises
    ------
    RecordError : another process holds it for more than `LOCK_S`, or its head is damaged.
    """
    lock = reports / f".chain-{station}.lock"
    try:
        with FileLock(lock, timeout=LOCK_S):
            yield Chain(reports, station)
    except Timeout as error:
        raise RecordError(f"{lock} is held by another process for over {LOCK_S:.0f} s; end it and try again") from error


def link_hash(previous: str, csv_sha256: str, canonical: str) -> str:
    """A record's own hash: SHA-256 over the previous one's, the CSV's and the canonical text of the context."""
    return hashlib.sha256(f"{previous}\n{csv_sha256}\n{canonical}".encode()).hexdigest()


def canonical(block: dict[str, object]) -> str:
    """One spelling of a JSON object: keys sorted, no spaces; raises ValueError on a number that is not finite."""
    return json.dumps(block, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
