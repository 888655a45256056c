"""A setup's fault table: from its file where there is one, else solved and kept."""

from __future__ import annotations

from pathlib import Path

from batchtest.diagnosis.cache import key_of, load, save
from batchtest.diagnosis.model import FaultTable
from batchtest.diagnosis.table import Progress, build_table
from batchtest.files.library import Setup
from batchtest.procedure import Procedure


def cached(setup: Setup, folder: Path) -> FaultTable | None:
    """The table from its file, or `None` where there is none of just these circuits, limits, fixture and bench."""
    return load(folder, key_of(setup))


def load_or_build(
    setup: Setup, procedure: Procedure, folder: Path, *, progress: Progress | None = None, workers: int = 2
) -> FaultTable:
    """The table from its file, or solved now and kept there.

    Raises
    ------
    NoOperatingPoint : the good board has none.
    OSError : the table cannot be kept.
    """
    known = cached(setup, folder)
    if known is not None:
        return known
    table = build_table(setup, procedure, progress=progress, workers=workers)
    save(folder, table)
    return table
