"""A whole attempt as a station makes it, which notes what it told a person; and what it left on the disk."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

from batchtest.nouns import Attempt
from batchtest.pages import write_attempt_page, write_batch_page
from batchtest.records.batch import write_batch_json
from batchtest.records.journal import Journal
from batchtest.records.names import CSV, PART, attempt_files
from batchtest.records.record import read_part, read_record
from test_records.contexts import CONTEXT, a_line, close


@dataclass
class Told:
    """What a person was told: lines, one by one, and the attempt."""

    lines: list[int] = field(default_factory=list)
    attempt: Attempt | None = None


def whole_attempt(
    reports: Path,
    told: Told,
    lines: int = 3,
    say: Callable[[str], object] = lambda text: None,
    *,
    pages: bool = False,
) -> Attempt:
    """From the claim to the batch's summary, and to its page where there are to be pages; what goes wrong is raised."""
    with Journal.claim(reports, CONTEXT) as journal:
        say("claimed")
        for number in range(1, lines + 1):
            journal.write(a_line(number))
            told.lines.append(number)
            say(f"line {number}")
        attempt = told.attempt = close(journal)
        say("closed")
    if pages:
        write_attempt_page(reports / attempt.record)
        write_batch_page(reports / CONTEXT.batch)
    write_batch_json(reports / CONTEXT.batch)
    return attempt


def losses(reports: Path, told: Told, number: int = 1) -> tuple[int, int]:
    """How many told lines are not on the disk, and how many records there are torn or not what was closed."""
    folder = reports / CONTEXT.batch
    found = attempt_files(folder) if folder.exists() else ()
    files = {ending: name.path(folder, ending) for name, ending in found if name.number == number}
    torn = 0
    if CSV in files:
        record = read_record(files[CSV])
        kept, torn = record.lines, int(not record.unaltered)
    else:
        kept = read_part(files[PART]).lines if PART in files else ()
        torn = int(told.attempt is not None)
    return len(set(told.lines) - {line.number for line in kept}), torn
