"""The page of a library of cables: what a wrong one would burn, what tells two apart, what no reading sees."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime
from itertools import combinations
from pathlib import Path
from typing import TYPE_CHECKING

from markupsafe import Markup

from batchtest.cables.apart import APART
from batchtest.files.cable import CableFile
from batchtest.files.library import Library
from batchtest.pages import cable_words as said
from batchtest.pages.cable_harm import cell_mark, matrices, wrong_cells
from batchtest.pages.cable_pairs import pair_views
from batchtest.pages.cores import Ends, NamedCable, differing_wires, ends_of, id_words
from batchtest.pages.pin_drawing import cable_drawing, line_sample, pair_drawing
from batchtest.pages.render import moment, render
from batchtest.pages.words import CAUTIONS
from batchtest.quantities import write
from batchtest.records.disk import on_disk, write_whole

if TYPE_CHECKING:
    from batchtest.cables.report import Report


@dataclass(frozen=True, slots=True, kw_only=True)
class Finding:
    """One line at the head of the page: a shape, what was found, and how grave it is."""

    mark: Markup
    text: str
    kind: str


@dataclass(frozen=True, slots=True, kw_only=True)
class PairFigure:
    """Two cables in one drawing, with the words to it."""

    one: NamedCable
    other: NamedCable
    drawing: Markup
    wires: tuple[tuple[str, str], ...]
    facts: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class CableCard:
    """A cable of the library with its drawing."""

    name: str
    drawing: Markup
    facts: tuple[tuple[str, str], ...]
    worn: bool


def cables_page(report: Report, library: Library, bench: str, made: datetime) -> str:
    """One HTML file of a library of cables: no network, no script, prints on A4.

    Parameters
    ----------
    library : gives the pins of both connectors their names.
    bench : name of the bench whose accuracy tables the distances stand on.
    """
    pairs = {(pair.fixture, pair.board): None for pair in report.pairs}
    return render(
        "cables.html",
        {
            "foot": f"cables, bench {bench}",
            "simulated": False,
            "bench": bench,
            "made": moment(made),
            "counts": _counts(library),
            "findings": tuple(_findings(report)),
            "meanings": [(cell_mark(verdict), verdict, meaning) for verdict, meaning in said.MEANINGS.items()],
            "matrices": tuple(matrices(report)),
            "wrong": tuple(wrong_cells(report, library)),
            "needed": f"{APART:g} U",
            "fixtures": [(*at, tuple(pair_views(report, at))) for at in pairs],
            "samples": (line_sample("one"), line_sample("other")),
            "figures": tuple(_figures(report, library)),
            "proposals": [said.cure_words(proposal) for proposal in report.proposals],
            "blind": tuple(said.blind_places(report)),
            "cell_mark": cell_mark,
            "cards": tuple(_cards(report, library)),
            "mains": next(caution for caution in CAUTIONS if "mains" in caution),
            "cautions": CAUTIONS,
        },
    )


def write_cables_page(path: Path, text: str) -> None:
    """Write the page, whole or not at all; makes its folder.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    with on_disk(f"{path} cannot be written"):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, text)


#: Verdict -> class of a finding.
_KINDS = {said.FITS: "good", said.HARMLESS: "wary", said.DESTROYS: "bad"}


def _counts(library: Library) -> str:
    counted = {
        "cable": library.cables,
        "board": library.boards,
        "host": library.hosts,
        "fixture": library.fixtures,
    }
    return ", ".join(f"{len(known)} {noun}{'' if len(known) == 1 else 's'}" for noun, known in counted.items())


def _findings(report: Report) -> Iterator[Finding]:
    for text, verdict in said.findings(report):
        yield Finding(mark=cell_mark(verdict), text=text, kind=_KINDS[verdict])


def _figures(report: Report, library: Library) -> Iterator[PairFigure]:
    """Every two cables; those that a fixture works with come first, and are the solid ones."""
    used = {fixture.cable for fixture in library.fixtures.values()}
    named = [NamedCable(name, cable) for name, cable in report.cables.items()]
    named.sort(key=lambda known: known.name not in used)
    for number, (one, other) in enumerate(combinations(named, 2), start=1):
        ends = _ends(one.cable, library)
        drawing = pair_drawing(one, other, ends, f"pair-{number}")
        facts = (
            ("id resistor", _both(one, other, lambda cable: id_words(cable).partition(", between")[0])),
            ("length", _both(one, other, lambda cable: write(cable.length, "m"))),
        )
        wires = tuple(differing_wires(one, other, ends))
        yield PairFigure(one=one, other=other, drawing=drawing, wires=wires, facts=facts)


def _both(one: NamedCable, other: NamedCable, fact: Callable[[CableFile], str]) -> str:
    return f"{one.name} {fact(one.cable)}; {other.name} {fact(other.cable)}"


def _cards(report: Report, library: Library) -> Iterator[CableCard]:
    for number, (name, cable) in enumerate(report.cables.items(), start=1):
        known = NamedCable(name, cable)
        facts = (
            ("for boards", ", ".join(cable.takes)),
            ("for hosts", ", ".join(cable.hosts) or "those of its fixtures"),
            ("length", write(cable.length, "m")),
            ("owner", cable.owner or "not known"),
            ("id resistor", id_words(cable)),
            ("connectors", said.mating_words(cable)),
        )
        drawing = cable_drawing(known, _ends(cable, library), f"cable-{number}")
        yield CableCard(name=name, drawing=drawing, facts=facts, worn=said.worn(cable))


def _ends(cable: CableFile, library: Library) -> Ends:
    return ends_of(library, cable.hosts or tuple(library.hosts), cable.takes)
