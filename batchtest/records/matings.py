"""How often a cable or the needles of a fixture were mated: `reports/matings.<kind>.<name>.csv`, one line a mating.

A line is written before the board is placed, so that a count is never too low. Lines count while they name the number
from which was counted on: `used` of the file that a person writes. What is simulated wears nothing out, and is counted
in a file of its own, `matings.<kind>.<name>.simulated.csv`.
"""

from __future__ import annotations

import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Literal

from batchtest.files.library import Setup
from batchtest.files.matings import Matings
from batchtest.records.disk import on_disk, sync_folder, write_all

_HEADER = b"used,time,batch,serial\r\n"


@dataclass(frozen=True, slots=True)
class Wear:
    """How far something is worn: matings so far, and what its maker rates it for."""

    kind: Literal["cable", "fixture"]
    name: str
    count: int
    rated: int

    @property
    def over(self) -> bool:
        """Whether it was mated more often than it is rated for."""
        return self.count > self.rated


def wear_of(reports: Path, setup: Setup) -> tuple[Wear, ...]:
    """Cable and fixture of a setup, as far as their files have `matings`; nothing is counted for others.

    Raises
    ------
    RecordError : a count cannot be read.
    """
    return tuple(
        Wear(kind, name, matings.used + _counted(_path(reports, setup, kind, name), matings.used), matings.rated)
        for kind, name, matings in _worn(setup)
    )


def count_mating(reports: Path, setup: Setup, batch: str, serial: str) -> tuple[Wear, ...]:
    """Count a board that is about to be placed, and give how far cable and fixture are worn with it.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    now = datetime.now().astimezone().isoformat(timespec="seconds")
    with on_disk(f"the mating for {serial} cannot be counted; do not test"):
        for kind, name, matings in _worn(setup):
            _append(_path(reports, setup, kind, name), f"{matings.used},{now},{batch},{serial}\r\n".encode())
    return wear_of(reports, setup)


def _worn(setup: Setup) -> list[tuple[Literal["cable", "fixture"], str, Matings]]:
    found: list[tuple[Literal["cable", "fixture"], str, Matings | None]] = [
        ("cable", setup.fixture.cable, setup.cable.matings),
        ("fixture", setup.fixture_name, setup.fixture.matings),
    ]
    return [(kind, name, matings) for kind, name, matings in found if matings is not None]


def _path(reports: Path, setup: Setup, kind: str, name: str) -> Path:
    return reports / f"matings.{kind}.{name}{'.simulated' if setup.bench.simulation else ''}.csv"


def _append(path: Path, row: bytes) -> None:
    """One write at the end of the file, so that two stations never write into each other's line; a cut one is ended."""
    path.parent.mkdir(parents=True, exist_ok=True)
    file = os.open(path, os.O_RDWR | os.O_CREAT | os.O_APPEND, 0o644)
    try:
        size = os.fstat(file).st_size
        new, whole = size == 0, size == 0 or os.pread(file, 1, size - 1) == b"\n"
        write_all(file, _HEADER * new + b"\r\n" * (not whole) + row)
    finally:
        os.close(file)
    if new:
        sync_folder(path.parent)


def _counted(path: Path, used: int) -> int:
    """How many lines count on from a number; one that a dying station cut off counts too."""
    if not path.exists():
        return 0
    with on_disk(f"{path} cannot be read"):
        data = path.read_bytes()
    return sum(line.split(b",", 1)[0] == str(used).encode() for line in data.splitlines())
