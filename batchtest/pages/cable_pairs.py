"""How two cables are told apart, as the page of cables shows it: the best readings, and how far apart they come."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING

from markupsafe import Markup

from batchtest.cables.apart import APART
from batchtest.nouns import Verdict
from batchtest.pages import cable_words as said
from batchtest.pages.bar import dot

if TYPE_CHECKING:
    from batchtest.cables.apart import Compared
    from batchtest.cables.report import Report

#: How many readings of a pair are shown, the best first. All are in `--json`.
_SHOWN = 3
#: The scale of distances: from a tenth of an expanded uncertainty to ten thousand, in powers of ten.
_FIRST_POWER, _POWERS, _SCALE = -1, 5, 120.0


@dataclass(frozen=True, slots=True, kw_only=True)
class ReadingView:
    """One reading with two cables."""

    what: str
    one: str
    other: str
    instrument: str
    distance: str
    drawing: Markup


@dataclass(frozen=True, slots=True, kw_only=True)
class PairView:
    """Two cables at one fixture: the best readings, and the cure where none tells them."""

    one: str
    other: str
    apart: bool
    readings: tuple[ReadingView, ...]
    why: str
    cures: tuple[str, ...]


def pair_views(report: Report, at: tuple[str, str]) -> Iterator[PairView]:
    for pair in report.pairs:
        if (pair.fixture, pair.board) == at:
            yield PairView(
                one=pair.one,
                other=pair.other,
                apart=pair.apart,
                readings=tuple(_reading(compared, pair.apart) for compared in pair.readings[:_SHOWN]),
                why="" if pair.apart else said.not_apart_words(pair),
                cures=() if pair.apart else tuple(said.cures(pair, report.proposals)),
            )


def _reading(compared: Compared, apart: bool) -> ReadingView:
    return ReadingView(
        what=said.reading_words(compared),
        one=said.value_words(compared.one, compared),
        other=said.value_words(compared.other, compared),
        instrument=said.distance_words(compared.by_instrument),
        distance=said.distance_words(compared.distance),
        drawing=_distance_bar(compared.distance, apart),
    )


def _distance_bar(distance: float, apart: bool) -> Markup:
    """A distance on a scale of powers of ten, with the line that one reading of the pair must pass."""

    def at(value: float) -> float:
        power = math.log10(max(value, 10.0**_FIRST_POWER)) - _FIRST_POWER
        return round(min(1.0, power / _POWERS) * _SCALE, 1)

    needed, found = at(APART), at(distance)
    verdict = Verdict.PASS if distance >= APART else Verdict.UNREAD if apart else Verdict.FAIL
    shapes = (
        f'<rect x="{needed:g}" y="3" width="{_SCALE - needed:g}" height="12" class="window"/>'
        f'<path d="M0 9H{found:g}" class="span thin"/><path d="M{needed:g} 1V17" class="limit"/>'
        f"{dot(found, 9, verdict)}"
    )
    return Markup(f'<svg class="bar" viewBox="-7 0 {_SCALE + 14:g} 18" aria-hidden="true">{shapes}</svg>')
