"""Waivers in words: what is excused, who answers for it, why and until when. Said on every screen and every page."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from batchtest.nouns import Line, Waiver
from batchtest.pages.render import moment
from batchtest.records.excuse import CHALLENGE, excuse_of


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice:
    """A waiver written out for a page; `used` says what became of it there, `file` is its own record."""

    number: int
    readings: str
    people: str
    reason: str
    written: str
    until: str
    used: str
    file: str


def notice(waiver: Waiver, used: str) -> Notice:
    """Write a waiver out."""
    return Notice(
        number=waiver.number,
        readings=readings_text(waiver),
        people=people_text(waiver),
        reason=waiver.reason,
        written=moment(waiver.written),
        until=moment(waiver.expires),
        used=used,
        file=file_name(waiver),
    )


def attempt_notices(waivers: Iterable[Waiver], lines: Sequence[Line]) -> list[Notice]:
    """The waivers of an attempt, each with the readings that needed it."""
    known = tuple(waivers)
    excused = [(excuse_of(line, known), line.measurement.name) for line in lines]
    return [notice(waiver, _used([name for excuse, name in excused if excuse == waiver])) for waiver in known]


def file_name(waiver: Waiver) -> str:
    """Name of its own record, in the folder of its batch."""
    return f"waiver.{waiver.number}.json"


def readings_text(waiver: Waiver) -> str:
    """What it excuses: "id resistor of vent-lead"; the challenge by what is excused of it."""
    return ", ".join("age of the challenge" if name == CHALLENGE else name for name in waiver.readings)


def people_text(waiver: Waiver) -> str:
    """The two who answer for it."""
    return " and ".join(waiver.people)


def waiver_line(waiver: Waiver) -> str:
    """All of a waiver on one line."""
    return (
        f"WAIVED: {readings_text(waiver)}, until {moment(waiver.expires)}, by {people_text(waiver)}: {waiver.reason} "
        f"(waiver {waiver.number})"
    )


def expired_line(waiver: Waiver) -> str:
    """That a waiver is over."""
    return f"waiver {waiver.number} expired on {moment(waiver.expires)}; it excuses nothing ({readings_text(waiver)})"


def _used(names: Sequence[str]) -> str:
    once = dict.fromkeys(names)
    return f"Excused here: {', '.join(once)}." if once else "In force; no reading of this attempt needed it."
