"""The page of a board's coverage: which faults its procedure fails, which stay within limits, which no reading sees."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from batchtest.diagnosis.model import Coverage, FaultTable, Kind, Sight
from batchtest.diagnosis.words import by_part, coverage_summary
from batchtest.pages import words
from batchtest.pages.render import render
from batchtest.records.disk import make_folder, on_disk, write_whole


@dataclass(frozen=True, slots=True, kw_only=True)
class PartRow:
    """A part with the faults that fail the board, those that stay within limits, and those that nothing sees."""

    part: str
    seen: str
    within: str
    invisible: str


def coverage_page(table: FaultTable, coverage: Coverage) -> str:
    """One HTML file: no network, no script, prints on A4."""
    return render(
        "coverage.html",
        {
            "foot": f"coverage of {coverage.board} on {coverage.fixture}, fault table {table.key[:12]}",
            "simulated": False,
            "coverage": coverage,
            "summary": coverage_summary(coverage),
            "percent": f"{100 * coverage.share:.0f} %",
            "faults": len(coverage.seen) + len(coverage.within_limits) + len(coverage.invisible),
            "rows": tuple(_rows(coverage)),
            "readings": sum(not column.probe for column in table.columns),
            "firsts": _firsts(coverage.seen),
            "key": table.key,
            "cautions": words.CAUTIONS,
            "disclaimer": words.DISCLAIMER,
        },
    )


def write_coverage_page(reports: Path, table: FaultTable, coverage: Coverage) -> Path:
    """Write `coverage-<board>.<fixture>.html` into the reports folder, whole or not at all, and give its path."""
    page = reports / f"coverage-{coverage.board}.{coverage.fixture}.html"
    text = coverage_page(table, coverage)
    with on_disk(f"{page} cannot be written"):
        make_folder(reports)
        write_whole(page, text)
    return page


def _rows(coverage: Coverage) -> Iterator[PartRow]:
    """Parts of the board in the order of their names, those of the fixture and its bridges after them."""
    seen, within, invisible = (
        dict(by_part(sights)) for sights in (coverage.seen, coverage.within_limits, coverage.invisible)
    )
    order = [part for part, _ in by_part((*coverage.seen, *coverage.within_limits, *coverage.invisible))]
    for part in order:
        yield PartRow(
            part=part,
            seen=_listed(seen.get(part, [])),
            within=_listed(within.get(part, [])),
            invisible=_listed(invisible.get(part, [])),
        )


def _listed(ways: Sequence[str]) -> str:
    """Ways to fail on one line; a value stays with its unit."""
    return ", ".join(way.replace(" ", "\N{NO-BREAK SPACE}") if way[0].isdigit() else way for way in ways)


def _firsts(seen: Sequence[Sight]) -> list[tuple[str, int]]:
    """Which reading catches how many faults first, the one that catches most before the others; the board's only."""
    counts: dict[str, int] = {}
    for sight in seen:
        if sight.hypothesis.kind is Kind.BOARD and sight.first:
            counts[sight.first] = counts.get(sight.first, 0) + 1
    return sorted(counts.items(), key=lambda each: (-each[1], each[0]))
