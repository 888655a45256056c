"""Records of boards with a known fault, and a small fault table beside them, for tests of what is made of both."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

from test_diagnosis.tables import attempt_at, small_table
from test_records.contexts import CONTEXT, STARTED

from batchtest.diagnosis.cache import save
from batchtest.nouns import Outcome
from batchtest.records.journal import Journal

#: The reading that decides on a board with an open divider: alone it leaves open which part that is.
AMBIGUOUS = ("logic-reversed",)


def recorded(reports: Path, serial: str, fault: str, only: Sequence[str] = (), **context: object) -> Path:
    """The record of a board with a fault, as it was read on the simulated bench; `only` some of its readings."""
    attempt = attempt_at(fault)
    lines = [line for line in attempt.lines if not only or line.measurement.name in only]
    about = replace(CONTEXT, **{"serial": serial, "file_hashes": {}, **context})  # type: ignore[arg-type]
    with Journal.claim(reports, about) as journal:
        for number, line in enumerate(lines, start=1):
            journal.write(replace(line, number=number))
        done = journal.close(
            attempt.outcome, attempt.first_cause, ended=STARTED + timedelta(seconds=60), duration_s=60.0, proof=()
        )
    return reports / done.record


def a_batch(reports: Path) -> Path:
    """A batch: a board with an open divider, a good one, one with an open zener; and the fault table of such boards."""
    for serial, fault in (("VN-0001", "R5B open"), ("VN-0002", ""), ("VN-0003", "DZ12 open")):
        record = recorded(reports, serial, fault)
        assert (attempt_at(fault).outcome is Outcome.PASS) == (fault == ""), record
    save(reports, small_table())
    return reports
