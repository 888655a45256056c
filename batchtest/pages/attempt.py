"""The page of one attempt: its verdict first, then what to do, then every reading and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from pathlib import Path

from markupsafe import Markup

from batchtest.nouns import InstrumentIdentity, Line, Outcome, Verdict
from batchtest.pages import host_words, words
from batchtest.pages.bar import dot
from batchtest.pages.deciding import closest, deciding
from batchtest.pages.render import moment, render
from batchtest.pages.rows import sections
from batchtest.pages.waivers import attempt_notices, file_name
from batchtest.quantities import show
from batchtest.records.chain import BEGINNING
from batchtest.records.disk import on_disk, write_whole
from batchtest.records.excuse import counted
from batchtest.records.record import Record, read_record


def attempt_page(record: Record) -> str:
    """One HTML file of one attempt: no network, no script, prints on A4."""
    context, lines = record.context, record.lines
    outcome, first_cause = record.closing.outcome, record.closing.first_cause
    powered = words.was_powered(lines)
    deciders = counted(lines, context.waivers)
    waived = len(lines) - len(deciders)
    return render(
        "attempt.html",
        {
            "context": context,
            "simulated": context.simulated,
            "foot": f"{context.serial} attempt {context.attempt}: {outcome.value}{' (WAIVER)' * bool(context.waivers)}",
            "waivers": attempt_notices(context.waivers, lines),
            "waived": waived,
            "outcome": outcome.value,
            "meaning": host_words.MEANINGS[outcome] if context.kind == "host" else words.meaning(outcome, waived),
            "closest": closest(lines) if outcome is Outcome.PASS else "",
            "danger": words.danger(outcome, lines, context.kind),
            "altered": not record.unaltered,
            "cause": _sentences(first_cause or "No cause was recorded."),
            "deciding": deciding(outcome, first_cause, deciders),
            "steps": _steps(record, powered=powered),
            "counts": [(verdict.value, _count(lines, verdict)) for verdict in Verdict],
            "lines": len(lines),
            "took": show(record.closing.duration_s, "s", 3),
            "started": moment(context.started),
            "sections": sections(lines, context.waivers),
            "rule": words.rule_text(context.rule),
            "key": _key(),
            "instruments": [(known, _calibration(known, context.started.date())) for known in context.instruments],
            "facts": list(_facts(record)),
            "hashes": list(_hashes(record)),
            "cautions": words.CAUTIONS,
            "disclaimer": words.DISCLAIMER,
        },
    )


def _steps(record: Record, *, powered: bool) -> tuple[str, ...]:
    context, outcome = record.context, record.closing.outcome
    if context.kind == "host":
        return host_words.next_steps(outcome, context.fixture)
    return words.next_steps(outcome, context.attempt, powered=powered, cable=context.cable, fixture=context.fixture)


def write_attempt_page(record_path: Path) -> Path:
    """Write `<serial>.<attempt>.html` beside a record, whole or not at all, and give its path.

    Raises
    ------
    RecordError : the record cannot be read, or the page cannot be written.
    """
    page = record_path.with_suffix(".html")
    text = attempt_page(read_record(record_path))
    with on_disk(f"{page} cannot be written"):
        write_whole(page, text)
    return page


def _count(lines: tuple[Line, ...], verdict: Verdict) -> int:
    return sum(line.judgement is not None and line.judgement.verdict is verdict for line in lines)


def _calibration(instrument: InstrumentIdentity, on: date) -> str:
    """When it was calibrated and until when that holds, as seen from the day of the test."""
    if instrument.due is not None and instrument.due < on:
        overdue = f"OVERDUE since {instrument.due.isoformat()}"
        return f"{instrument.calibrated.isoformat()}, {overdue}" if instrument.calibrated else overdue
    said = []
    if instrument.calibrated is not None:
        said.append(f"{instrument.calibrated.isoformat()}, {(on - instrument.calibrated).days} days before the test")
    elif instrument.calibration_age_d is not None:
        said.append(f"not dated, taken as {instrument.calibration_age_d:.0f} days old")
    if instrument.due is not None:
        said.append(f"due {instrument.due.isoformat()}")
    return ", ".join(said) or "not known"


def _sentences(cause: str) -> list[str]:
    """A cause sentence by sentence; the first says it, the others go into detail and lose their full stop."""
    first, *others = cause.split(". ")
    return [first, *(sentence.removesuffix(".") for sentence in others)]


def _facts(record: Record) -> Iterator[tuple[str, str]]:
    context = record.context
    yield "bench", f"{context.bench} (simulated)" if context.simulated else context.bench
    yield "fixture", context.fixture
    yield "cable", context.cable or "none: nothing was mated"
    yield "station", context.station
    yield "operator", context.operator
    yield "ambient", show(context.ambient_C, "C", 3)
    yield "software", context.software
    yield "ended", moment(record.closing.ended)
    if words.was_powered(record.lines):
        yield "proof", f"{len(record.closing.proof)} readings before power"


def _hashes(record: Record) -> Iterator[tuple[str, str]]:
    yield record.path.name, record.closing.csv_sha256
    yield "this record", record.sha256
    before = record.closing.previous_sha256
    yield "the record before it", before if before != BEGINNING else "none: this is the first of its station's chain"
    yield from ((file_name(waiver), waiver.sha256) for waiver in record.context.waivers)
    yield from record.context.file_hashes.items()


def _key() -> Markup:
    shapes = ((Verdict.PASS, "passes"), (Verdict.FAIL, "fails"), (Verdict.DOUBTFUL, "doubtful"))
    return Markup(" ").join(
        Markup(
            '<span class="sample"><svg viewBox="0 0 14 14" width="14" height="14" aria-hidden="true">{}</svg> {}</span>'
        ).format(Markup(dot(7, 7, verdict)), name)
        for verdict, name in shapes
    )
