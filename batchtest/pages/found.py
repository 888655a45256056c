"""The list of every board that something touched, to be printed and worked through with a pencil."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from batchtest.pages import words
from batchtest.pages.render import moment, render
from batchtest.records.batch import cause_name
from batchtest.records.search import FIELDS, Found, Touched, Wanted


def found_page(found: Found, wanted: Wanted, when: datetime) -> str:
    """One HTML file: no network, no script, prints on A4.

    Parameters
    ----------
    wanted : what was asked for; it stands at the head.
    when : wall time of the search.
    """
    asked = list(asked_words(wanted))
    return render(
        "found.html",
        {
            "foot": f"boards touched: {'; '.join(f'{name} {value}' for name, value in asked)}",
            "simulated": any(one.context.simulated for one in found.attempts),
            "asked": asked,
            "when": moment(when),
            "counts": counts(found),
            "tiles": [(outcome.value, count) for outcome, count in found.outcomes.items()],
            "rows": [_row(one) for one in found.attempts],
            "not_known": list(not_known(found)),
            "damaged": found.damaged,
            "disclaimer": words.DISCLAIMER,
        },
    )


def asked_words(wanted: Wanted) -> Iterator[tuple[str, str]]:
    """What was asked for, as name and value."""
    yield from wanted.values.items()
    if wanted.since is not None:
        yield "from", moment(wanted.since)
    if wanted.until is not None:
        yield "to", moment(wanted.until)


def counts(found: Found) -> str:
    """How many boards, attempts and batches, and what was searched."""
    boards, attempts = found.boards, len(found.attempts)
    batches = len({one.record.parent for one in found.attempts})
    told = ", ".join(f"{count} {outcome.value}" for outcome, count in found.outcomes.items() if count)
    return (
        f"{_many(boards, 'board')}, {_many(attempts, 'attempt')}{f' ({told})' if told else ''} in "
        f"{_many(batches, 'batch', 'batches')}; {_many(found.searched, 'record')} searched"
    )


def not_known(found: Found) -> Iterator[str]:
    """What the search cannot tell, a line each."""
    if found.open:
        yield f"not known, since begun and not closed: {', '.join(found.open)}"
    for path, why in found.damaged.items():
        yield f"not known, since damaged: {path}: {why}"
    for one in found.attempts:
        if not one.intact:
            yield f"altered since it was closed: the description of {one.record}"


def with_what(one: Touched) -> str:
    """Fixture, cable and instruments of an attempt."""
    context = one.context
    instruments = [
        f"{role} {serial}" for role in ("meter", "load") if (serial := FIELDS[f"{role} serial"](one.closing))
    ]
    return ", ".join([name for name in (context.fixture, context.cable) if name] + instruments)


def _row(one: Touched) -> dict[str, str | bool]:
    context = one.context
    return {
        "serial": context.serial,
        "attempt": str(context.attempt),
        "board": f"{context.board} {context.board_revision}".strip(),
        "outcome": one.closing.outcome.value,
        "cause": cause_name(one.closing.first_cause) if one.closing.first_cause else "",
        "batch": context.batch,
        "started": moment(context.started),
        "station": context.station,
        "operator": context.operator,
        "with_what": with_what(one),
        "waived": bool(context.waivers),
    }


def _many(count: int, one: str, many: str = "") -> str:
    return f"{count:,} {one if count == 1 else many or one + 's'}"
