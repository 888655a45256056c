"""The certificate of one attempt: a PDF/A sheet of test results on A4, from its record alone.

It says "test results" and claims no accreditation. The same record, head and print give the same bytes: the only time
in it besides the record's own is that of the print.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from batchtest.nouns import Line, Outcome
from batchtest.pages import words
from batchtest.pages.attempt import calibration, meaning_of, sentences
from batchtest.pages.facts import facts
from batchtest.pages.render import moment
from batchtest.pages.rows import Group, Row, Section, sections
from batchtest.pages.typeset import pdf, qr_svg
from batchtest.pages.waivers import Notice, attempt_notices
from batchtest.records.chain import BEGINNING
from batchtest.records.excuse import counted
from batchtest.records.record import Record

_TEMPLATE = "certificate.typ"
_SIMULATED = "SIMULATED BENCH: no real board was measured. These results are of no board that exists."
#: Where the page's note speaks of its drawings.
_NOTES = {"load": "All loads of a load point are set together. A dash: recorded, not judged."}
_RESTS = (
    "The record is a CSV file with its description beside it. Its hash, in the code and below, covers both; each "
    "record carries the hash of the one before, and the head is the newest of that chain when this sheet was printed. "
    "To check this sheet, read the code and compare it with the hash in the description. A chain does not show that a "
    "whole folder was written anew: a head on paper, kept elsewhere, does."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Sheet:
    """What a print says besides the record.

    Parameters
    ----------
    workshop : who issues it, as it heads the page.
    number : which print of this attempt it is, from 1.
    printed : wall time with offset.
    head : hash of the newest link of the station's chain.
    notes : what was noted of this board until then, one text a note.
    """

    workshop: str
    number: int
    printed: datetime
    head: str
    notes: tuple[str, ...] = ()


def certificate(record: Record, sheet: Sheet) -> bytes:
    """The PDF of a closed record, PDF/A-2a.

    Raises
    ------
    SetupError : the extra `pdf` is not installed; says the line that does it.
    """
    return pdf(_TEMPLATE, values(record, sheet))


def values(record: Record, sheet: Sheet) -> dict[str, Any]:
    """All that the template prints, as strings."""
    context, closing, lines = record.context, record.closing, record.lines
    waived = len(lines) - len(counted(lines, context.waivers))
    outcome = closing.outcome
    meaning = meaning_of(context.kind, outcome, waived)
    print_name = f"print {sheet.number}"
    named = f"{context.serial}, attempt {context.attempt}"
    return {
        "title": f"Test results of {context.kind} {named}: {outcome.value}, {print_name}",
        "heading": "Test results",
        "workshop": sheet.workshop,
        "running": f"Test results: {named}, {print_name}",
        "printed_parts": _date_parts(sheet.printed),
        "simulated": context.simulated,
        "simulated_text": _SIMULATED,
        "sha256": record.sha256,
        "qr": qr_svg(record.sha256),
        "who": [("serial", context.serial), (context.kind, context.board), ("attempt", str(context.attempt))],
        "outcome": outcome.value,
        "meaning": meaning,
        "cause": sentences(closing.first_cause or "No cause was recorded.") if outcome is not Outcome.PASS else [],
        "notices": list(_notices(record, sheet)),
        "facts": list(_facts(record, sheet)),
        "sections": [_section(section, _proof(record)) for section in sections(lines, context.waivers)],
        "rule": words.rule_text(context.rule),
        "disclaimer": words.DISCLAIMER,
        "sources": list(context.limits_sources.items()),
        "instruments": [
            (
                each.role.value,
                f"{each.maker} {each.model}",
                each.serial,
                each.firmware,
                calibration(each, context.started.date()),
            )
            for each in context.instruments
        ],
        "rests": _RESTS,
        "hashes": list(_hashes(record, sheet)),
    }


def _date_parts(when: datetime) -> dict[str, int]:
    """A moment as the typesetter takes it, in UTC: the PDF has no offset of its own."""
    known = when.astimezone(UTC)
    return {part: getattr(known, part) for part in ("year", "month", "day", "hour", "minute", "second")}


def _notices(record: Record, sheet: Sheet) -> Iterator[dict[str, Any]]:
    """What must not be overlooked: danger, waivers, notes since."""
    context = record.context
    if danger := words.danger(record.closing.outcome, record.lines, context.kind):
        yield {"title": "Danger: treat as live", "lines": [danger]}
    for each in attempt_notices(context.waivers, record.lines):
        yield {"title": f"Tested under waiver {each.number}: {each.readings}", "lines": list(_waiver_lines(each))}
    if sheet.notes:
        yield {"title": "Notes on this board", "lines": list(sheet.notes)}


def _waiver_lines(waiver: Notice) -> Iterator[str]:
    yield f"{waiver.people} answer for it, from {waiver.written} until {waiver.until}: {waiver.reason}"
    yield waiver.used


def _facts(record: Record, sheet: Sheet) -> Iterator[tuple[str, str]]:
    context = record.context
    yield "batch", context.batch
    yield "revision", context.board_revision
    yield "tested", moment(context.started)
    yield from ((name, value) for name, value in facts(record) if name != "proof")
    yield "readings", _counts(record.lines)
    proof = len(_proof(record))
    yield "proof", f"before power, by {proof} reading{'s' * (proof > 1)}, marked †" if proof else "none: not powered"
    yield "printed", f"{moment(sheet.printed)}, print {sheet.number}"


def _counts(lines: Sequence[Line]) -> str:
    judged = [line.judgement.verdict.value for line in lines if line.judgement is not None]
    counts = ", ".join(
        f"{judged.count(name)} {name}" for name in ("pass", "fail", "doubtful", "unread") if name in judged
    )
    return f"{len(lines)}: {counts}" if counts else str(len(lines))


def _proof(record: Record) -> tuple[str, ...]:
    """Names of the readings by which it was proven safe to power; none where it never was powered."""
    return record.closing.proof if words.was_powered(record.lines) else ()


def _section(section: Section, proof: Sequence[str]) -> dict[str, Any]:
    groups = [_group(group, proof) for group in section.groups]
    note = _NOTES.get(section.name, section.note)
    return {"title": section.title, "note": note, "compact": section.compact, "groups": groups}


def _group(group: Group, proof: Sequence[str]) -> dict[str, Any]:
    """A table; two readings stand on a line where they have their limits in common."""
    rows = [_row(row, proof) for row in group.rows]
    return {"title": group.title, "shared": group.shared, "double": not group.own_limits, "rows": rows}


def _row(row: Row, proof: Sequence[str]) -> dict[str, Any]:
    return {
        "name": f"{row.name} †" if row.name in proof else row.name,
        "value": row.value,
        "uncertainty": row.uncertainty,
        "limits": row.limits,
        "verdict": row.verdict.value if row.verdict else "",
        "why": row.why,
        "waived": row.waived,
    }


def _hashes(record: Record, sheet: Sheet) -> Iterator[dict[str, str]]:
    before = record.closing.previous_sha256
    known = {
        record.path.name: record.closing.csv_sha256,
        "this record": record.sha256,
        "the record before": before if before != BEGINNING else "none: the first of its station's chain",
        "head of the chain": sheet.head,
        **record.context.file_hashes,
    }
    yield from ({"of": name, "sha256": sha256} for name, sha256 in known.items())
