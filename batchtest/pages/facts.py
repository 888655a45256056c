"""What a record says besides its readings, for its page: what is not known is said to be so, and not left out."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.nouns import Context
from batchtest.pages import words
from batchtest.pages.notes import retest_text
from batchtest.pages.render import moment
from batchtest.quantities import show
from batchtest.records.record import Record
from batchtest.records.wall_clock import set_back

#: Retests that one person may make where a record does not say. Common practice, no source.
_RETESTS = 1


def facts(record: Record) -> Iterator[tuple[str, str]]:
    """Board, bench, fixture, cable, people, air, times: name and value of each."""
    context = record.context
    if context.kind == "board":
        yield from _of_the_board(context)
    yield "bench", f"{context.bench} (simulated)" if context.simulated else context.bench
    yield "fixture", _worn(context.fixture, context.fixture_revision, context.fixture_matings)
    cable = _worn(context.cable, context.cable_revision, context.cable_matings)
    yield "cable", cable if context.cable else "none: nothing was mated"
    yield "station", context.station
    yield "operator", context.operator
    yield "ambient", show(context.ambient_C, "C", 3)
    yield "humidity", "not measured" if context.humidity is None else show(context.humidity, "%", 3)
    yield "software", context.software
    yield "ended", moment(record.closing.ended)
    if back := set_back(context.started, record.lines):
        yield "clock", f"the computer's was set back by {back} in mid-attempt; durations are of another clock"
    yield "duration", f"{record.closing.duration_s:.1f} s by the monotonic clock"
    if record.closing.abort_cause:
        yield "ended early by", record.closing.abort_cause
    if words.was_powered(record.lines):
        yield "proof", f"{len(record.closing.proof)} readings before power"


def may_retest(context: Context) -> bool:
    """Whether one person may test the board once more, as far as its limits say."""
    allowed = _RETESTS if context.retests_allowed is None else context.retests_allowed
    made = context.attempt - 1 if context.retest is None else context.retest.number
    return made < allowed


def _of_the_board(context: Context) -> Iterator[tuple[str, str]]:
    yield "firmware", context.firmware or "not known"
    yield "parts list option", context.option or "not known"
    if context.retest is not None:
        yield "tested again", retest_text(context.retest, context.retests_allowed)
        yield "attempts before", ", ".join(context.retest.earlier)


def _worn(name: str, revision: str, matings: int | None) -> str:
    known = f"{name} revision {revision}" if revision else f"{name}, revision not known"
    return f"{known}, {'matings not counted' if matings is None else f'mated {matings} times'}"
