"""A waiver on the disk, `reports/<batch>/waiver.<n>.json`: written once, numbered, linked into the station's chain.

It trusts the two names as they were typed. What it guards against is a waiver that nobody sees: one that is altered,
copied into another batch, or taken out from between others is found when it is read; the last one taken out leaves a
gap in the chain.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path
from typing import Any

from pydantic import TypeAdapter

from batchtest.errors import RecordError, SetupError
from batchtest.formulas import formula_fault
from batchtest.nouns import Waiver
from batchtest.records.linked import Shelf
from batchtest.records.people import letters, name_fault, tidy

#: The longest that a waiver may hold.
MOST_DAYS = 30
#: A reason says what is wrong and what was done instead: that takes some words, and must fit a screen.
LEAST_WORDS, MOST_LETTERS = 3, 240

_SHELF = Shelf("waiver", TypeAdapter(Waiver), "waiver.")


def write_waiver(reports: Path, waiver: Waiver) -> Waiver:
    """Put a waiver on the disk for good, and give it back with its number and hash.

    Parameters
    ----------
    reports : the folder of all batches; it and the batch's folder are made where missing.
    waiver : its number and hash are replaced; runs of spaces in names and reason become one.

    Raises
    ------
    SetupError : two people who are one, a reason that says nothing, an expiry in the past or too far away.
    RecordError : it is not on the disk; no file of it is left.
    """
    first, second = waiver.people
    tidied = replace(waiver, people=(tidy(first), tidy(second)), reason=tidy(waiver.reason))
    run = (fault for text in (*tidied.people, tidied.reason) if (fault := formula_fault(text)))
    if faults := [*waiver_faults(tidied), *run]:
        raise SetupError("\n".join(faults))
    lost = f"the waiver of batch {waiver.batch} is not written; it excuses nothing"
    return _SHELF.write(reports, tidied, lost)


def read_waivers(reports: Path, batch: str) -> tuple[Waiver, ...]:
    """Every waiver of a batch by number, verified; none where the batch has no folder yet.

    Raises
    ------
    RecordError : one is damaged, altered, of another batch, or was taken out; names the file and the cure.
    """
    found = _SHELF.read(reports, batch)
    for waiver in found:
        if faults := list(waiver_faults(waiver)):
            raise RecordError(f"{_SHELF.path(reports / batch, waiver.number)} is no waiver: {faults[0]}")
    return found


def as_table(waiver: Waiver) -> dict[str, Any]:
    """A waiver as the JSON object that its file holds, but for its place in the chain."""
    return _SHELF.as_table(waiver)


def waiver_faults(waiver: Waiver) -> Iterator[str]:
    """What makes it no waiver: each fault with its value and cure."""
    first, second = waiver.people
    for name in waiver.people:
        if fault := name_fault(name):
            yield fault
    if letters(first) == letters(second):
        yield f"a waiver takes two different people, not {first!r} and {second!r}; have another one answer for it too"
    reason = waiver.reason
    if len(reason.split()) < LEAST_WORDS or len(reason) > MOST_LETTERS or not reason.isprintable():
        yield (
            f"the reason {reason!r} will not do; say what is wrong and what was checked instead, "
            f"in {LEAST_WORDS} words at least and {MOST_LETTERS} letters at most"
        )
    if not waiver.readings:
        yield "a waiver names the readings that it excuses, and this one names none; name one at least"
    yield from _expiry_faults(waiver)


def _expiry_faults(waiver: Waiver) -> Iterator[str]:
    written, expires = waiver.written, waiver.expires
    if written.tzinfo is None or expires.tzinfo is None:
        yield f"the expiry {expires.isoformat()} or the time of writing has no offset; write it such as +01:00"
        return
    latest = (written + timedelta(days=MOST_DAYS - 1)).date()
    if expires <= written:
        yield f"the expiry {expires.isoformat()} is past (now {written.isoformat()}); write one up to {latest}"
    elif expires - written > timedelta(days=MOST_DAYS):
        days = (expires - written) / timedelta(days=1)
        yield f"the expiry {expires.isoformat()} is {days:.1f} days away, over {MOST_DAYS}; write one up to {latest}"
