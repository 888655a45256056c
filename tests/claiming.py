"""Stations that test the same serial of the same batch at the same moment, each in a process of its own."""

from __future__ import annotations

import multiprocessing
import multiprocessing.synchronize
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from time import perf_counter

from test_records.contexts import CONTEXT, a_line, close

from batchtest.records.chain import BEGINNING
from batchtest.records.journal import Journal
from batchtest.records.names import AttemptName, attempt_files
from batchtest.records.record import read_record

#: How long the slowest of them may take before it is given up, s.
GIVE_UP_S = 300.0


@dataclass(frozen=True)
class Found:
    """What lies in the folder afterwards; `forked` are links that do not follow on the one before, `lost` are missing.

    `numbers` counts the different attempt numbers.
    """

    attempts: int
    numbers: int
    lost: int
    unclosed: int
    altered: int
    forked: int
    seconds: float


def race(reports: Path, stations: Sequence[str], attempts: int, at_once: int = 1) -> Found:
    """Have every station make its attempts, all at once, and look at what is on the disk.

    Parameters
    ----------
    stations : one name a process; a name twice is two processes of one station.
    attempts : of each process; so many of them `at_once` are claimed before the first of these is closed.
    """
    context = multiprocessing.get_context("spawn")
    start = context.Barrier(len(stations) + 1)
    many = (attempts, at_once)
    processes = [context.Process(target=_work, args=(reports, station, many, start)) for station in stations]
    for process in processes:
        process.start()
    start.wait(GIVE_UP_S)
    began = perf_counter()
    for process in processes:
        process.join(GIVE_UP_S)
    seconds = perf_counter() - began
    assert [process.exitcode for process in processes] == [0] * len(processes)
    return _found(reports / CONTEXT.batch, len(stations) * attempts, seconds)


def _work(reports: Path, station: str, many: tuple[int, int], start: multiprocessing.synchronize.Barrier) -> None:
    attempts, at_once = many
    start.wait(GIVE_UP_S)
    for _ in range(attempts // at_once):
        for journal in [Journal.claim(reports, replace(CONTEXT, station=station)) for _ in range(at_once)]:
            journal.write(a_line(raw=station))
            close(journal)


def _found(folder: Path, wanted: int, seconds: float) -> Found:
    names = sorted({name for name, _ in attempt_files(folder)})
    closed = [name for name in names if name.path(folder, ".csv").exists()]
    records = [read_record(AttemptName(name.serial, name.number).path(folder, ".csv")) for name in closed]
    links: dict[str, list[tuple[int, str, str]]] = {}
    for record in records:
        sequence = record.closing.sequence or 0
        links.setdefault(record.context.station, []).append((sequence, record.closing.previous_sha256, record.sha256))
    return Found(
        attempts=wanted,
        numbers=len({record.context.attempt for record in records}),
        lost=wanted - len(records),
        unclosed=len(names) - len(closed),
        altered=sum(
            not record.unaltered or record.lines[0].reading.raw != record.context.station for record in records
        ),
        forked=sum(_forks(chain) for chain in links.values()),
        seconds=seconds,
    )


def _forks(links: list[tuple[int, str, str]]) -> int:
    """How many links do not follow on the one before, in the order of their numbers."""
    before, wrong = BEGINNING, 0
    for place, (sequence, previous, sha256) in enumerate(sorted(links), start=1):
        wrong += (sequence, previous) != (place, before)
        before = sha256
    return wrong
