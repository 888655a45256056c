"""The fault table of a board: looked up in the reports folder, or made there once, with a bar."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.commands.progress import progress
from batchtest.errors import RecordError, SetupError, nearest

if TYPE_CHECKING:
    from batchtest.diagnosis.model import FaultTable
    from batchtest.files.library import Setup
    from batchtest.nouns import Context


def table_of(setup: Setup, reports: Path, *, shown: bool) -> FaultTable:
    """The fault table of a setup; where it is not there yet it is made, which takes minutes."""
    from batchtest.diagnosis import cached, load_or_build
    from batchtest.procedure import derive
    from batchtest.records.disk import on_disk

    if (table := cached(setup, reports)) is not None:
        return table
    with (
        on_disk(f"the fault table of {setup.board} cannot be kept in {reports}"),
        progress(f"fault table of {setup.board} on {setup.fixture_name}, once", shown=shown) as told,
    ):
        return load_or_build(setup, derive(setup), reports, progress=told)


def setup_for(board: str, fixture: str | None, bench: str | None, reports: Path) -> Setup:
    """The setup that a board is tested with.

    Without a fixture, the one that takes the board; without a bench, that of its newest batch, or the only one.

    Raises
    ------
    SetupError : there is none, or more than one and nothing says which.
    """
    from batchtest.files.library import bench_names, board_names, load_library, load_setup

    root = Path.cwd()
    if board not in board_names(root):
        raise SetupError(f"no board {board!r}; {nearest(board, board_names(root))}")
    last = _last_tested(reports, board)
    if fixture is None:
        takes = [name for name, known in load_library(root).fixtures.items() if board in known.takes]
        fixture = _choose("fixture", takes, last.fixture if last else "", board)
    if bench is None:
        bench = _choose("bench", bench_names(root), last.bench if last else "", board)
    return load_setup(root, fixture, bench, board)


def _choose(kind: str, known: list[str], last: str, board: str) -> str:
    if last in known:
        return last
    if len(known) != 1:
        said = f"one of {', '.join(known)}" if known else "there is none"
        raise SetupError(f"which {kind} is {board} tested with? say so with --{kind}: {said}")
    return known[0]


def _last_tested(reports: Path, board: str) -> Context | None:
    """What a record of the newest batch of a board says; `None` where no batch of it can be read."""
    from batchtest.records.closed import batch_folders, list_batch
    from batchtest.records.names import CSV
    from batchtest.records.record import read_sealed

    if not reports.is_dir():
        return None
    for folder in sorted(batch_folders(reports), key=lambda path: path.stat().st_mtime, reverse=True):
        for name in list_batch(folder).records[:1]:
            try:
                context = read_sealed(name.path(folder, CSV)).closing.context
            except RecordError:
                continue
            if context.board == board and context.kind == "board":
                return context
    return None
