"""Attempts that a station began and never closed, because it died: closed as `stopped`, with every line that they hold.

Who still writes an attempt holds the lock of its part file, which ends with its process. Only a station's own attempts
are closed: on a disk that two computers share, a lock may not reach from one to the other.
"""

from __future__ import annotations

import hashlib
import os
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.nouns import Attempt, Context, Outcome, Phase
from batchtest.records.begun import read_begun
from batchtest.records.claim import held, is_file
from batchtest.records.disk import on_disk
from batchtest.records.link import link_record
from batchtest.records.metadata import FORMAT, Closing
from batchtest.records.names import BEGUN, CSV, PART, AttemptName
from batchtest.records.record import Part, attempt_of, read_part
from batchtest.records.rows import header

#: What decided such an attempt. A disk that takes no more leaves the same behind as a death.
CAUSE = "the station died in mid-attempt, or its disk took no more"
#: The same in a word.
_ABORTED = "station died"


@dataclass(frozen=True, slots=True, kw_only=True)
class Found:
    """An attempt that was left unfinished, and what became of it.

    Parameters
    ----------
    name : batch and attempt, as "spring-1/VN-0001.2".
    attempt : closed as stopped, with its lines; `None` where it is left as it was.
    why : why it is left as it was.
    """

    name: str
    attempt: Attempt | None = None
    why: str = ""


def close_unfinished(reports: Path, station: str) -> Iterator[Found]:
    """Close what this station left unfinished in any batch, unless somebody who lives still writes it.

    An attempt of which not even the context reached the disk has no line either: it had not begun, and goes. What
    cannot be closed is left as it was, and tried again at the next start.

    Raises
    ------
    RecordError : the reports folder cannot be searched.
    """
    with on_disk(f"{reports} cannot be searched for unfinished attempts"):
        parts = sorted(reports.glob(f"*/*{PART}"))
        for begun in reports.glob(f"*/*{BEGUN}"):
            if begun.with_name(begun.name.removesuffix(BEGUN) + CSV).exists():
                begun.unlink(missing_ok=True)  # the station died as soon as it had closed the attempt
    for path in parts:
        found = AttemptName.of(path)
        if found is not None and found[1] == PART:
            name = found[0]
            label = f"{path.parent.name}/{name.serial}.{name.number}"
            try:
                with on_disk("it cannot be closed"), _dead(path) as dead:
                    attempt = _settle(reports, station, name, path) if dead else None
            except RecordError as error:
                yield Found(name=label, why=str(error))
            else:
                yield from [Found(name=label, attempt=attempt)] if attempt else []


@contextmanager
def _dead(path: Path) -> Iterator[bool]:
    """Hold a part file that nobody writes any more; `False` where somebody does, or where it is gone."""
    try:
        file = os.open(path, os.O_RDWR | os.O_APPEND)
    except FileNotFoundError:
        yield False
        return
    try:
        yield held(file, unsure=False) and is_file(file, path)
    finally:
        os.close(file)


def _settle(reports: Path, station: str, name: AttemptName, path: Path) -> Attempt | None:
    """Close an attempt that nobody writes; `None` where there is nothing to close, or it is another station's."""
    begun, final = name.path(path.parent, BEGUN), name.path(path.parent, CSV)
    if begun.exists():
        context = read_begun(begun)
        if context.station != station:
            return None
        if not final.exists():
            return _close(reports, read_part(path), context, name)
    elif not final.exists() and read_part(path).lines:
        raise RecordError(f"{begun.name}, which says what it was made with, is not there")
    if final.exists() and final.read_bytes() != read_part(path).whole:
        raise RecordError(f"{final.name} is there as well, and is not the same")
    for left in (path, begun):  # closed before the station died, or never begun
        left.unlink(missing_ok=True)
    return None


def _close(reports: Path, part: Part, context: Context, name: AttemptName) -> Attempt:
    last = part.lines[-1] if part.lines else None
    whole = part.whole or header()
    closing = Closing(
        context=context,
        outcome=Outcome.STOPPED,
        first_cause=f"{CAUSE}: {len(part.lines)} readings are kept{_said(part.torn)}",
        ended=last.time if last else context.started,
        duration_s=last.elapsed_s if last else 0.0,
        proof=tuple(line.measurement.name for line in part.lines if line.measurement.phase is Phase.GATE),
        csv_sha256=hashlib.sha256(whole).hexdigest(),
        previous_sha256="",
        abort_cause=_ABORTED,
        format=FORMAT,
        torn=part.torn.decode("latin-1"),
    )
    link_record(reports, closing, whole if part.torn else None)
    return attempt_of(closing, name.path(part.path.parent, CSV), part.lines)


def _said(torn: bytes) -> str:
    return ", the line that was cut off stands in the record's description" if torn else ""
