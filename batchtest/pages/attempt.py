"""The page of one attempt: its verdict first, then what to do, then every reading and what it rests on."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date
from typing import TYPE_CHECKING

from markupsafe import Markup

from batchtest.nouns import Context, InstrumentIdentity, Line, Outcome, Phase, Verdict
from batchtest.pages import words
from batchtest.pages.bar import bar_axis, dot
from batchtest.pages.render import moment, render
from batchtest.pages.rows import Row, row, sections
from batchtest.pages.scale import scale_of
from batchtest.quantities import show

if TYPE_CHECKING:
    from batchtest.records.record import Record

#: Which verdict decides an attempt of this outcome, where a reading does.
_DECIDES = {Outcome.FAIL: (Verdict.FAIL, Verdict.UNREAD), Outcome.DOUBTFUL: (Verdict.DOUBTFUL,)}


def attempt_page(record: Record) -> str:
    """One HTML file of one attempt: no network, no script, prints on A4."""
    context, lines = record.context, record.lines
    outcome = record.outcome
    powered = words.was_powered(lines)
    return render(
        "attempt.html",
        {
            "context": context,
            "simulated": context.simulated,
            "foot": f"{context.serial} attempt {context.attempt}: {outcome.value}",
            "outcome": outcome.value,
            "meaning": words.MEANINGS[outcome],
            "closest": _closest(lines) if outcome is Outcome.PASS else "",
            "danger": words.danger(lines),
            "cause": record.first_cause or "No cause was recorded.",
            "deciding": _deciding(outcome, lines),
            "steps": words.next_steps(
                outcome, context.attempt, powered=powered, cable=context.cable, fixture=context.fixture
            ),
            "counts": [(verdict.value, _count(lines, verdict)) for verdict in Verdict],
            "lines": len(lines),
            "took": show(record.duration_s, "s", 3),
            "started": moment(context.started),
            "sections": sections(lines),
            "rule": words.rule_text(context.rule),
            "key": _key(),
            "instruments": [(known, _calibration(known, context.started.date())) for known in context.instruments],
            "facts": list(_facts(context)),
            "hashes": list(_hashes(record)),
            "cautions": words.CAUTIONS,
            "disclaimer": words.DISCLAIMER,
        },
    )


def _count(lines: tuple[Line, ...], verdict: Verdict) -> int:
    return sum(line.judgement is not None and line.judgement.verdict is verdict for line in lines)


def _deciding(outcome: Outcome, lines: tuple[Line, ...]) -> Row | None:
    """The first reading that made the outcome what it is; a stopped or refused attempt may have none."""
    wanted = _DECIDES.get(outcome, ())
    found = (line for line in lines if line.judgement is not None and line.judgement.verdict in wanted)
    line = next(found, None)
    return None if line is None else row(line, scale_of([line]), bar_axis([line]))


def _closest(lines: tuple[Line, ...]) -> str:
    """Which rail came closest to a limit, counted in its own uncertainty."""
    margins = [
        (margin / line.reading.uncertainty, margin, line)
        for line in lines
        if line.measurement.phase in (Phase.LOAD, Phase.DERIVED) and line.reading.uncertainty
        for margin in _margins(line)
    ]
    if not margins:
        return ""
    in_U, margin, line = min(margins, key=lambda known: known[:2])
    distance = show(margin, line.measurement.unit, 3)
    return f"Closest to a limit: {line.measurement.name}, {distance} inside it ({in_U:.3g} times its U)."


def _margins(line: Line) -> Iterator[float]:
    value, limit = line.reading.value, line.measurement.limit
    if value is None or limit is None:
        return
    if limit.lower is not None:
        yield value - limit.lower
    if limit.upper is not None:
        yield limit.upper - value


def _calibration(instrument: InstrumentIdentity, on: date) -> str:
    """When it was calibrated and until when that holds, as seen from the day of the test."""
    if instrument.due is not None and instrument.due < on:
        overdue = f"OVERDUE since {instrument.due.isoformat()}"
        return f"{instrument.calibrated.isoformat()}, {overdue}" if instrument.calibrated else overdue
    said = []
    if instrument.calibrated is not None:
        said.append(f"{instrument.calibrated.isoformat()}, {(on - instrument.calibrated).days} d before the test")
    elif instrument.calibration_age_d is not None:
        said.append(f"date not known, age taken as {instrument.calibration_age_d:.0f} d")
    if instrument.due is not None:
        said.append(f"due {instrument.due.isoformat()}")
    return ", ".join(said) or "not known"


def _facts(context: Context) -> Iterator[tuple[str, str]]:
    yield "bench", f"{context.bench} (simulated)" if context.simulated else context.bench
    yield "fixture", context.fixture
    yield "cable", context.cable
    yield "station", context.station
    yield "operator", context.operator
    yield "ambient", show(context.ambient_C, "C", 3)
    yield "software", context.software


def _hashes(record: Record) -> Iterator[tuple[str, str]]:
    yield "this record", record.sha256
    yield "record before it", record.previous or "none: first of its chain"
    yield from record.context.file_hashes.items()


def _key() -> Markup:
    shapes = ((Verdict.PASS, "passes"), (Verdict.FAIL, "fails"), (Verdict.DOUBTFUL, "doubtful"))
    return Markup(" ").join(
        Markup('<span class="sample"><svg viewBox="0 0 14 14" width="14" height="14" aria-hidden="true">{}</svg> {}</span>')
        .format(Markup(dot(7, 7, verdict)), name)
        for verdict, name in shapes
    )
