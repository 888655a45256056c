"""Whether a page says what its record says: rendered again by the same software, it is the same to the letter.

A page shows the notes on its board and the findings about it as well, and those that were written after the page make
it no other: it must be what its record, the first so many of these notes and the first so many findings give.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import product, zip_longest
from pathlib import Path

from batchtest.errors import RecordError
from batchtest.pages.attempt import attempt_page, record_name
from batchtest.pages.render import software
from batchtest.records.damage import Damage
from batchtest.records.disk import on_disk
from batchtest.records.finding import read_findings
from batchtest.records.names import CSV, AttemptName
from batchtest.records.note import read_notes
from batchtest.records.record import read_record
from batchtest.records.seal import read_seal


def attempt_pages(reports: Path) -> list[Path]:
    """The pages that stand beside a record, in all batches."""
    found = []
    for page in sorted(reports.glob("*/*.html")):
        record = page.with_suffix(CSV)
        if AttemptName.of(record) is not None and record.exists():
            found.append(page)
    return found


def page_faults(page: Path) -> Iterator[Damage]:
    """What a page says otherwise than its record; nothing where other software wrote it, or these are damaged."""
    with on_disk(f"{page} cannot be read"):
        data = page.read_bytes()
    if read_seal(data).software != software():
        return
    try:
        record = read_record(page.with_suffix(CSV))
        notes = read_notes(page.parent.parent, page.parent.name, record.context.serial)
        findings = read_findings(page.parent.parent, page.parent.name, record_name(record))
    except RecordError:
        return
    due = attempt_page(record, notes, findings)
    firsts = product(range(len(notes), -1, -1), range(len(findings), -1, -1))
    if any(data == attempt_page(record, notes[:n], findings[:k]).encode() for n, k in firsts):
        return
    lines = zip_longest(data.decode("utf-8", "replace").splitlines(), due.splitlines())
    number = next((number for number, (was, is_due) in enumerate(lines, start=1) if was != is_due), 1)
    what = "does not say what its record says; write it again from the record, and ask who changed it"
    yield Damage(record=f"{page.parent.name}/{page.name}", field=f"line {number}", what=what)
