"""What a station does with its records before it tests: it closes what it left unfinished, and looks at the clock."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batchtest.commands.screen import Screen


def tidy_records(reports: Path, station: str, screen: Screen) -> None:
    """Close the attempts that this station left unfinished, with their pages, and say so.

    Raises
    ------
    RecordError : the reports folder does not take it, or the head of the station's chain is damaged.
    """
    from batchtest.pages import write_attempt_page, write_batch_page
    from batchtest.records.batch import write_batch_json
    from batchtest.records.unfinished import close_unfinished
    from batchtest.records.wall_clock import behind

    folders = set()
    for found in close_unfinished(reports, station):
        if found.attempt is None:
            screen.message(f"{found.name} was found unfinished, and stays open: {found.why}")
            continue
        path = reports / found.attempt.record
        write_attempt_page(path)
        folders.add(path.parent)
        kept = len(found.attempt.lines)
        screen.message(f"{found.name} was found unfinished: closed as STOPPED, {kept} readings kept; test it again")
    for folder in sorted(folders):
        write_batch_json(folder)
        write_batch_page(folder)
    if late := behind(reports, station, datetime.now().astimezone()):
        screen.message(
            f"this computer's clock is {late} behind the last record of {station}: it was set back. Set it right; "
            "durations and the order of records do not go by it"
        )
