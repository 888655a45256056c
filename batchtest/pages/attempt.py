"""The page of one attempt: its verdict first, then what to do, then every reading and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date
from pathlib import Path

from markupsafe import Markup

from batchtest.errors import RecordError
from batchtest.nouns import InstrumentIdentity, Line, Note, Outcome, Verdict
from batchtest.pages import host_words, outlet_words, words
from batchtest.pages.bar import dot
from batchtest.pages.deciding import closest, deciding
from batchtest.pages.facts import facts, may_retest
from batchtest.pages.findings import finding_view
from batchtest.pages.notes import note_rows
from batchtest.pages.outlet import outlet_page
from batchtest.pages.render import moment, render
from batchtest.pages.rows import sections
from batchtest.pages.waivers import attempt_notices, file_name
from batchtest.quantities import show
from batchtest.records.chain import BEGINNING, short
from batchtest.records.disk import on_disk, write_whole
from batchtest.records.excuse import counted
from batchtest.records.finding import Finding, read_findings
from batchtest.records.note import read_notes
from batchtest.records.record import Record, read_record


def attempt_page(record: Record, notes: Sequence[Note] = (), findings: Sequence[Finding] = ()) -> str:
    """One HTML file of one attempt: no network, no script, prints on A4.

    Parameters
    ----------
    notes : those of its board that are on the disk now; what its record carries is shown even where it is gone.
    findings : those about it; the last one is shown.
    """
    context, lines = record.context, record.lines
    outcome, first_cause = record.closing.outcome, record.closing.first_cause
    powered = words.was_powered(lines)
    deciders = counted(lines, context.waivers)
    waived = len(lines) - len(deciders)
    return render(
        "outlet.html" if context.kind == "outlet" else "attempt.html",
        {
            **({"outlet": outlet_page(record)} if context.kind == "outlet" else {}),
            "context": context,
            "simulated": context.simulated,
            "foot": _foot(record),
            "head": short(record.sha256),
            "waivers": attempt_notices(context.waivers, lines),
            "waived": waived,
            "notes": note_rows(context.notes, notes),
            "finding": finding_view(findings, record_name(record)),
            "outcome": outcome.value,
            "meaning": meaning_of(context.kind, outcome, waived),
            "closest": closest(lines) if outcome is Outcome.PASS and context.kind != "outlet" else "",
            "danger": words.danger(outcome, lines, context.kind),
            "altered": not record.unaltered,
            "cause": sentences(first_cause or "No cause was recorded."),
            "deciding": deciding(outcome, first_cause, deciders),
            "steps": _steps(record, powered=powered),
            "counts": [(verdict.value, _count(lines, verdict)) for verdict in Verdict],
            "lines": len(lines),
            "took": show(record.closing.duration_s, "s", 3),
            "started": moment(context.started),
            "sections": sections(lines, context.waivers),
            "rule": words.rule_text(context.rule),
            "key": _key(),
            "instruments": [(known, calibration(known, context.started.date())) for known in context.instruments],
            "facts": list(facts(record)),
            "hashes": list(_hashes(record)),
            "cautions": words.CAUTIONS,
            "disclaimer": words.DISCLAIMER,
        },
        record.sha256,
    )


def meaning_of(kind: str, outcome: Outcome, waived: int) -> str:
    """What an outcome means, in a sentence, of what was on the bench: "board", "host" or "outlet"."""
    if kind == "host":
        return host_words.MEANINGS[outcome]
    return outlet_words.MEANINGS[outcome] if kind == "outlet" else words.meaning(outcome, waived)


def _foot(record: Record) -> str:
    context = record.context
    said = f"{context.serial} attempt {context.attempt}: {record.closing.outcome.value}"
    return f"{said}{' (WAIVER)' * bool(context.waivers)}, chain {short(record.sha256)}"


def _steps(record: Record, *, powered: bool) -> tuple[str, ...]:
    context, outcome = record.context, record.closing.outcome
    if context.kind == "host":
        return host_words.next_steps(outcome, context.fixture)
    if context.kind == "outlet":
        return outlet_words.next_steps(outcome)
    again = may_retest(context)
    return words.next_steps(outcome, again, powered=powered, cable=context.cable, fixture=context.fixture)


def write_attempt_page(record_path: Path) -> Path:
    """Write `<serial>.<attempt>.html` beside a record, whole or not at all, and give its path.

    Raises
    ------
    RecordError : the record cannot be read, or the page cannot be written.
    """
    page = record_path.with_suffix(".html")
    record = read_record(record_path)
    text = attempt_page(record, _notes(record), _findings(record))
    with on_disk(f"{page} cannot be written"):
        write_whole(page, text)
    return page


def _notes(record: Record) -> tuple[Note, ...]:
    """The notes of its board on the disk; where they are damaged, what the record carries has to do."""
    folder = record.path.parent
    try:
        return read_notes(folder.parent, folder.name, record.context.serial)
    except RecordError:
        return ()


def _findings(record: Record) -> tuple[Finding, ...]:
    """The findings about it; where these are damaged, `verify` says so, and the page does without."""
    folder = record.path.parent
    try:
        return read_findings(folder.parent, folder.name, record_name(record))
    except RecordError:
        return ()


def record_name(record: Record) -> str:
    """A record as others name it: its path from the reports folder."""
    return f"{record.path.parent.name}/{record.path.name}"


def _count(lines: tuple[Line, ...], verdict: Verdict) -> int:
    return sum(line.judgement is not None and line.judgement.verdict is verdict for line in lines)


def calibration(instrument: InstrumentIdentity, on: date) -> str:
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
    if instrument.certificate:
        said.append(f"certificate {instrument.certificate}")
    return ", ".join(said) or "not known"


def sentences(cause: str) -> list[str]:
    """A cause sentence by sentence; the first says it, the others go into detail and lose their full stop."""
    first, *others = cause.split(". ")
    return [first, *(sentence.removesuffix(".") for sentence in others)]


def _hashes(record: Record) -> Iterator[tuple[str, str]]:
    yield record.path.name, record.closing.csv_sha256
    yield "this record, the head of its station's chain when it was closed", record.sha256
    before = record.closing.previous_sha256
    if record.closing.sequence is not None:
        yield "its number in the chain", str(record.closing.sequence)
    yield "the record before it", before if before != BEGINNING else "none: this is the first of its station's chain"
    yield from ((file_name(waiver), waiver.sha256) for waiver in record.context.waivers)
    yield from record.context.file_hashes.items()
    dialects = {known.dialect: known.dialect_sha256 for known in record.context.instruments if known.dialect_sha256}
    yield from ((f"dialect {name}", sha256) for name, sha256 in dialects.items())


def _key() -> Markup:
    shapes = ((Verdict.PASS, "passes"), (Verdict.FAIL, "fails"), (Verdict.DOUBTFUL, "doubtful"))
    return Markup(" ").join(
        Markup(
            '<span class="sample"><svg viewBox="0 0 14 14" width="14" height="14" aria-hidden="true">{}</svg> {}</span>'
        ).format(Markup(dot(7, 7, verdict)), name)
        for verdict, name in shapes
    )
