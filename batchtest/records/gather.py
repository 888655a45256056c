"""Closed batches folded into Parquet, one file each; what is gathered already is left as it is."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from enum import StrEnum
from functools import partial
from pathlib import Path

from batchtest.records.closed import ClosedBatch, Listing, batch_folders, list_batch, read_closed, readable
from batchtest.records.parquet import Stamp, UnreadableRows, connection, fold, sql_print
from batchtest.records.record import Raw
from batchtest.records.store import Store, open_store

#: Batches that are worked on at the same time; more would only fill the memory.
_AT_ONCE = 4
#: Writes records and the file's stamp at a path, and gives the count of lines.
Fold = Callable[[Sequence[Raw], Stamp, Path], int]


class State(StrEnum):
    """What became of a batch. `HELD`: what is there already holds records that this folder does not have."""

    GATHERED = "gathered"
    UNCHANGED = "unchanged"
    OPEN = "open"
    HELD = "held back"


@dataclass(frozen=True, slots=True, kw_only=True)
class Gathered:
    """A batch and what became of it.

    Parameters
    ----------
    folder : the batch's folder.
    records, lines : how many are in its files now; lines only where they were written now.
    left_out : records that are in no file, by file name, and why.
    why : in plain words, where it was not gathered.
    files : paths or URLs that were written.
    """

    folder: Path
    state: State
    records: int = 0
    lines: int = 0
    left_out: Mapping[str, str] = field(default_factory=dict)
    why: str = ""
    files: tuple[str, ...] = ()


def gather(
    folders: Sequence[Path], to: str | None = None, told: Callable[[Gathered], None] = lambda batch: None
) -> list[Gathered]:
    """Fold every closed batch of some folders into Parquet.

    Parameters
    ----------
    folders : reports folders, or folders of single batches.
    to : folder or fsspec URL that many stations may write to; without it each file goes beside its records.
    told : hears of each batch in turn.

    Raises
    ------
    SetupError : no such store.
    RecordError : a folder cannot be read, a file not be written. Batches before it are gathered.
    """
    store = open_store(to)
    listings = [list_batch(batch) for folder in folders for batch in batch_folders(folder)]
    known = store.stamps([listing.folder for listing in listings])
    done = []
    with connection() as database, ThreadPoolExecutor(min(_AT_ONCE, os.cpu_count() or 1)) as workers:
        writer = partial(fold, database)
        tasks = [
            partial(_gather_batch, listing, store, known.get(str(listing.folder), {}), writer) for listing in listings
        ]
        for batch in _in_turn(workers, tasks):
            told(batch)
            done.append(batch)
    return done


def _gather_batch(listing: Listing, store: Store, known: Mapping[str, Stamp], fold_into: Fold) -> Gathered:
    """Fold one batch, unless it is open, or in the store as it is; `known` is what is there of it."""
    batch = listing.folder
    if listing.open:
        names = ", ".join(f"{name.serial}.{name.number}" for name in listing.open)
        return Gathered(folder=batch, state=State.OPEN, why=f"begun and not closed: {names}")
    if (stamp := _whole(known, _print(listing))) is not None:
        count = sum(len(part.records) for part in known.values() if part.print == stamp.print)
        return Gathered(folder=batch, state=State.UNCHANGED, records=count, left_out=stamp.left_out)
    closed = read_closed(listing)
    try:
        return _put(listing, store, known, closed, fold_into)
    except UnreadableRows:
        if (rest := readable(closed, batch)) == closed:
            raise
        return _put(listing, store, known, rest, fold_into)


def _put(listing: Listing, store: Store, known: Mapping[str, Stamp], closed: ClosedBatch, fold_into: Fold) -> Gathered:
    """Write a file for each part, unless that would lose a record that is there."""
    batch, parts = listing.folder, store.split(closed.records)
    if strange := sorted(name for part in parts for name in _strange(listing, closed, known.get(part))):
        return Gathered(folder=batch, state=State.HELD, left_out=closed.left_out, why=_held(strange))
    files, lines = [], []
    for part, records in parts.items():
        stamp = Stamp(
            print=_print(listing),
            stations=tuple(sorted(parts)),
            records={_name(record): record.sealed.sha256 for record in records},
            left_out=closed.left_out,
        )
        file, count = store.put(batch, part, partial(fold_into, records, stamp))
        files.append(file)
        lines.append(count)
    return Gathered(
        folder=batch,
        state=State.GATHERED,
        records=len(closed.records),
        lines=sum(lines),
        left_out=closed.left_out,
        files=tuple(files),
    )


def _print(listing: Listing) -> str:
    return f"{listing.print}.{sql_print()}"


def _whole(known: Mapping[str, Stamp], own_print: str) -> Stamp | None:
    """What any of the files says, where all that were written for this very folder are there."""
    own = {part: stamp for part, stamp in known.items() if stamp.print == own_print}
    return next((stamp for stamp in own.values() if set(stamp.stations) <= set(own)), None)


def _strange(listing: Listing, closed: ClosedBatch, there: Stamp | None) -> Iterator[str]:
    """Records in a file that this folder does not have, or has as another one: they would be lost."""
    names = {f"{name.serial}.{name.number}" for name in listing.records}
    own = {_name(record): record.sealed.sha256 for record in closed.records}
    for name, sha256 in (there.records if there else {}).items():
        if name not in names or own.get(name, sha256) != sha256:
            yield name


def _held(strange: Sequence[str]) -> str:
    shown = ", ".join(strange[:5]) + (f" and {len(strange) - 5} more" if len(strange) > 5 else "")
    return (
        f"what was gathered before holds {shown}, which is not in this folder or another record there; restore it, or "
        "give the stations different names, or move the gathered file away"
    )


def _name(record: Raw) -> str:
    context = record.sealed.closing.context
    return f"{context.serial}.{context.attempt}"


def _in_turn(workers: ThreadPoolExecutor, tasks: Sequence[Callable[[], Gathered]]) -> Iterator[Gathered]:
    """Results in the order of the tasks; after an error no further one is begun."""
    futures = [workers.submit(task) for task in tasks]
    try:
        for future in futures:
            yield future.result()
    finally:
        for future in futures:
            future.cancel()
