"""Going on with a batch: which of its serials are done already, and how a bench that failed in mid-batch comes back."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from batchtest.errors import BenchError, SetupError

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.commands.screen import Screen

#: What a person types in place of Enter to end the batch.
END = ("end", "e", "q", "quit")


def done_already(folder: Path, serials: Sequence[str]) -> list[str]:
    """The serials of a batch that have a closed attempt which tells of the board: passed, failed or doubtful.

    Those whose attempts were stopped, refused or never closed are tested again.
    """
    from batchtest.records.batch import OF_THE_BOARD, batch_summary

    if not folder.is_dir():
        return []
    told = {attempt.serial for attempt in batch_summary(folder).attempts if attempt.outcome in OF_THE_BOARD}
    return [serial for serial in serials if serial in told]


def brought_back(bench: Bench, error: BenchError, serial: str, screen: Screen) -> bool:
    """Have the person mend the bench, until every instrument answers as the one that it was; whether the batch goes on.

    False where no person is at a terminal, or the person ends the batch.
    """
    if not sys.stdin.isatty():
        return False
    why: BenchError | SetupError = error
    while True:
        screen.message(f"stopped: {why}")
        said = screen.ask(f"mend it, then Enter: {serial} is tested anew (or type 'end'): ")
        if said.strip().lower() in END:
            return False
        try:
            bench.bring_back()
        except (BenchError, SetupError) as again:
            why = again
        else:
            return True
