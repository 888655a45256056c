"""The chain of a station's records: each carries the hash of the one before, so that an edit or a gap shows.

The head of the chain is `reports/.chain-<station>`. It is written before a record takes its final name and again after,
so that a station that dies between the two leaves a head that says so, and the next record follows on the last one that
was finished.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass
from pathlib import Path

from filelock import FileLock, Timeout

from batchtest.errors import RecordError
from batchtest.records.disk import write_whole

#: What the first record of a station carries in place of a hash.
BEGINNING = "0" * 64
#: How long to wait for another process of the same station, s.
LOCK_S = 10.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Head:
    """The newest link: its hash, the hash before it, its record (path from the reports folder), whether it is done."""

    sha256: str
    previous: str
    record: str
    finished: bool


class Chain:
    """A station's chain, held locked: `previous` is what the next record follows on."""

    def __init__(self, reports: Path, station: str) -> None:
        self._reports = reports
        self._path = reports / f".chain-{station}"
        self.previous = self._last()

    def announce(self, sha256: str, record: str) -> None:
        """Say which record is about to take its name."""
        self._write(Head(sha256=sha256, previous=self.previous, record=record, finished=False))

    def finish(self, sha256: str, record: str) -> None:
        """Say that the announced record has its name."""
        self._write(Head(sha256=sha256, previous=self.previous, record=record, finished=True))

    def _last(self) -> str:
        if not self._path.exists():
            return BEGINNING
        try:
            head = Head(**json.loads(self._path.read_text(encoding="utf-8")))
        except (ValueError, TypeError) as error:
            cure = "restore it from a copy, or move it away to begin a new chain"
            raise RecordError(f"{self._path} is damaged; {cure}") from error
        there = head.finished or (self._reports / head.record).exists()
        return head.sha256 if there else head.previous

    def _write(self, head: Head) -> None:
        write_whole(self._path, json.dumps(asdict(head), indent=1) + "\n")


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
