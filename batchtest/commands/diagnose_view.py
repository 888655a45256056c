"""What `batchtest diagnose` prints: a finding, the coverage of a procedure, figures of parts."""

from __future__ import annotations

import json
import sys
import textwrap
from collections.abc import Sequence
from dataclasses import asdict
from pathlib import Path
from shutil import get_terminal_size
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from batchtest.commands.diagnose_record import Opinion
    from batchtest.diagnosis.model import Coverage, FaultTable, Sight, Suggestion
    from batchtest.records.cures import PartFigures
    from batchtest.records.record import Record


def print_heading(record: Record, *, first: bool = True) -> None:
    """The board and what became of it; `first` says as well where it was no real one."""
    context, closing = record.context, record.closing
    if context.simulated and first:
        _say("SIMULATED BENCH: no real board was measured")
    cause = f": {closing.first_cause}" if closing.first_cause else ""
    _say(f"{context.serial} attempt {context.attempt}: {closing.outcome.value.upper()}{cause}")


def print_finding(opinion: Opinion) -> None:
    """What probably failed, what to do, what to measure next."""
    from batchtest.pages.findings import finding_lines

    lines = [opinion.finding.advice] if opinion.diagnosis.advice == "nothing" else finding_lines(opinion.finding)
    for line in lines:
        _say(f"  {line}")


def print_finding_json(record: Record, opinion: Opinion, kept: str | None) -> None:
    """A finding as one JSON object."""
    click.echo(json.dumps(as_table(record, opinion, kept)))


def as_table(record: Record, opinion: Opinion, kept: str | None) -> dict[str, Any]:
    """A finding for machines: what its record holds, the outcome, and what could be measured next, worth most first."""
    from batchtest.records.finding import finding_table

    return {
        **finding_table(opinion.finding),
        "outcome": record.closing.outcome.value,
        "simulated": record.context.simulated,
        "conclusion": opinion.diagnosis.advice,
        "suggestions": [_suggested(each) for each in opinion.diagnosis.next],
        "used": list(opinion.diagnosis.used),
        "file": kept,
    }


def print_coverage(table: FaultTable, coverage: Coverage, page: Path) -> None:
    """Which faults the procedure sees, by limits or not at all, part by part."""
    from rich.console import Console
    from rich.table import Table

    from batchtest.diagnosis.words import by_part, coverage_summary

    console = Console(highlight=False, soft_wrap=True)
    console.print(f"{coverage_summary(coverage)}.")
    console.print(f"fault table {table.key[:12]}: {len(table.hypotheses)} states of the board, bench and cable")
    for title, sights in (
        ("no reading of this procedure can see", coverage.invisible),
        ("moves readings, all within their limits", coverage.within_limits),
    ):
        if not sights:
            continue
        console.print(f"\n[bold]{title}[/]")
        rows = Table(box=None, show_header=False, pad_edge=True)
        for part, faults in by_part(sights):
            rows.add_row(part, ", ".join(faults))
        console.print(rows)
    console.print(f"page {page}")


def coverage_table(table: FaultTable, coverage: Coverage, page: Path) -> dict[str, Any]:
    """Coverage for machines."""
    return {
        "board": coverage.board,
        "fixture": coverage.fixture,
        "table": table.key,
        "faults": len(coverage.seen) + len(coverage.within_limits) + len(coverage.invisible),
        "seen": [_sight(each) for each in coverage.seen],
        "within_limits": [_sight(each) for each in coverage.within_limits],
        "invisible": [_sight(each) for each in coverage.invisible],
        "page": str(page),
    }


def print_parts(figures: Sequence[PartFigures], *, as_json: bool) -> None:
    """What repairs taught, a row a part."""
    if as_json:
        click.echo(json.dumps({"parts": [asdict(each) for each in figures]}))
        return
    if not figures:
        click.echo("no rework names its part yet: batchtest note SERIAL --kind rework --part R5B ...")
        return
    from rich.console import Console
    from rich.table import Table

    from batchtest.pages.review_words import REPAIRED, repaired_row

    table = Table("board", *REPAIRED, box=None)
    table.columns[-1].no_wrap = True
    for each in figures:
        table.add_row(each.board, *repaired_row(each))
    Console(highlight=False).print(table)
    click.echo("alone: no other part was reworked before the test that passed; only these weigh in")


def _suggested(suggestion: Suggestion) -> dict[str, Any]:
    return {
        "spot": suggestion.spot.name,
        "minus": suggestion.spot.minus,
        "unit": suggestion.unit,
        "state": suggestion.state,
        "minutes": suggestion.minutes,
        "bits": suggestion.bits,
        "outcomes": dict(suggestion.outcomes),
    }


def _sight(sight: Sight) -> dict[str, Any]:
    return {
        "fault": sight.hypothesis.name,
        "parts": list(sight.hypothesis.parts),
        "fails": sight.fails,
        "first": sight.first,
        "sigmas": sight.sigmas,
        "alike": list(sight.alike),
    }


def _say(text: str) -> None:
    """One line, in a terminal broken between words, what follows set in."""
    from batchtest.commands.screen import clean

    text = clean(text)
    if sys.stdout.isatty():
        text = "\n".join(textwrap.wrap(text, get_terminal_size().columns - 1, subsequent_indent="    "))
    click.echo(text)
