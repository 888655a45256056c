"""`batchtest diagnose`: what probably failed on a board, what to measure next, what no test of it can see."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.commands.diagnose_record import Finder
    from batchtest.diagnosis.model import FaultTable
    from batchtest.files.library import Setup
    from batchtest.records.record import Record


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the person asked for."""

    reports: Path
    fixture: str | None
    bench: str | None
    returned: bool
    reads: tuple[str, ...]
    forget: bool
    only_show: bool
    as_json: bool


@click.command("diagnose")
@click.argument("what", required=False, metavar="[RECORD|SERIAL]")
@click.option("--batch", help="The board's batch; alone: every board of it that did not pass.")
@click.option("--attempt", type=int, help="Which attempt at the board; without it the last closed one.")
@click.option("--read", "reads", multiple=True, help="A value measured by hand: TP7=4.9V, TP7=1.2kohm, TP7=OL.")
@click.option("--forget", is_flag=True, help="Leave out the values that were measured by hand before.")
@click.option("--returned", is_flag=True, help="The board came back from the field: parts wear out, joints were good.")
@click.option("--only-show", is_flag=True, help="Write no finding.")
@click.option("--board", help="Instead of a record: the fault table of this board, and what the procedure cannot see.")
@click.option("--fixture", help="By name without ending; without it that of the record.")
@click.option("--bench", help="Likewise.")
@click.option("--parts", is_flag=True, help="Instead of a record: what repairs taught of each part, over time.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--follow", is_flag=True, hidden=True, help="Answer for the records that are named on standard input.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    what: str | None,
    batch: str | None,
    attempt: int | None,
    board: str | None,
    *,
    parts: bool,
    follow: bool,
    **said: object,
) -> None:
    """Find the likely causes of a RECORD (reports/demo/VN-0004.1.csv), or of the last test of board SERIAL.

    The circuit that is simulated and tested also explains the readings: every part open, short, missing, reversed or of
    a wrong value, every solder bridge between neighbours. At a terminal it asks for what is best measured next. What is
    found is kept as a record of its own. The fault table of a board is made once; that takes minutes.

    Before you probe: power off and discharged, proven by measurement. Mains stays inside the host, for licensed or
    competent persons as local codes say.

    Example: batchtest diagnose VN-0004 --batch demo --read TP7=4.9V
    """
    wanted = Wanted(**said)  # type: ignore[arg-type]
    if parts:
        _show_parts(wanted, board)
    elif follow:
        _follow(wanted, board)
    elif board is not None and what is None:
        _show_board(wanted, board)
    elif what is not None:
        _diagnose(wanted, _record_named(wanted.reports, what, batch, attempt))
    elif batch is not None:
        _diagnose_batch(wanted, batch)
    else:
        raise SetupError(
            "name a record or a serial, such as batchtest diagnose VN-0004 --batch demo; "
            "or --batch alone, --board BOARD, or --parts"
        )


def _record_named(reports: Path, what: str, batch: str | None, attempt: int | None) -> Path:
    """The record that a path or a serial means; raises SetupError where there is none."""
    from batchtest.commands.certificate import closed_record
    from batchtest.records.names import CSV

    if what.endswith((CSV, ".html")):
        tried = [Path(what).with_suffix(CSV), (reports / what).with_suffix(CSV)]
        found = next((path for path in tried if path.is_file()), None)
        if found is None:
            raise SetupError(
                f"there is no record {what}; name it such as {reports}/demo/VN-0004.1.csv, or by its serial"
            )
        return found
    return closed_record(reports, what, batch, attempt)


def _diagnose(wanted: Wanted, path: Path) -> None:
    """One record: said, asked on at a terminal, and kept."""
    import sys

    from batchtest.commands.diagnose_ask import ask_on
    from batchtest.commands.diagnose_record import keep, last_probed, parse_read, readable
    from batchtest.commands.diagnose_view import print_finding, print_finding_json, print_heading

    record = readable(path)
    finder = _finder_for(wanted, record)
    before = () if wanted.forget else last_probed(record)
    probed = (*before, *(parse_read(text, finder.table) for text in wanted.reads))
    opinion = finder.find(record, probed)
    if not wanted.as_json:
        print_heading(record)
        print_finding(opinion)
        if sys.stdin.isatty() and sys.stdout.isatty():
            opinion = ask_on(finder, record, opinion)
    kept = None if wanted.only_show else keep(record, opinion)
    if wanted.as_json:
        print_finding_json(record, opinion, kept)
    elif kept is not None:
        click.echo(f"written to {path.parent / kept}; it shows on the pages of the attempt and of its batch")


def _diagnose_batch(wanted: Wanted, batch: str) -> None:
    """The last test of every board of a batch that did not pass."""
    import json

    from batchtest.commands.diagnose_record import keep, last_probed, not_passed, readable
    from batchtest.commands.diagnose_view import as_table, print_finding, print_heading

    found: list[dict[str, object]] = []
    finders: dict[tuple[str, str, str], Finder] = {}
    for path in not_passed(wanted.reports, batch):
        record = readable(path)
        context = record.context
        tested_with = (context.fixture, context.bench, context.board)
        finder = finders.get(tested_with) or _finder_for(wanted, record)
        finders[tested_with] = finder
        opinion = finder.find(record, () if wanted.forget else last_probed(record))
        kept = None if wanted.only_show else keep(record, opinion)
        found.append(as_table(record, opinion, kept))
        if not wanted.as_json:
            print_heading(record, first=len(found) == 1)
            print_finding(opinion)
    if wanted.as_json:
        click.echo(json.dumps({"batch": batch, "boards": found}))
    elif not found:
        click.echo(f"batch {batch}: every board that was tested passed in the end")


def _finder_for(wanted: Wanted, record: Record) -> Finder:
    from batchtest.commands.diagnose_record import changed_files, finder_of
    from batchtest.files.library import load_setup

    context = record.context
    setup = load_setup(Path.cwd(), wanted.fixture or context.fixture, wanted.bench or context.bench, context.board)
    if changed := changed_files(record, setup):
        click.echo(f"changed since the test, and taken as they are today: {', '.join(changed)}", err=True)
    return finder_of(setup, _table(wanted, setup), wanted.reports, returned=wanted.returned)


def _table(wanted: Wanted, setup: Setup) -> FaultTable:
    from batchtest.commands.fault_table import table_of

    return table_of(setup, wanted.reports, shown=not wanted.as_json)


def _show_board(wanted: Wanted, board: str) -> None:
    from batchtest.commands.diagnose_view import coverage_table, print_coverage
    from batchtest.commands.fault_table import setup_for
    from batchtest.diagnosis import coverage
    from batchtest.pages.coverage import write_coverage_page

    setup = setup_for(board, wanted.fixture, wanted.bench, wanted.reports)
    table = _table(wanted, setup)
    covered = coverage(table)
    page = write_coverage_page(wanted.reports, table, covered)
    if wanted.as_json:
        import json

        click.echo(json.dumps(coverage_table(table, covered, page)))
    else:
        print_coverage(table, covered, page)


def _show_parts(wanted: Wanted, board: str | None) -> None:
    from batchtest.commands.diagnose_view import print_parts
    from batchtest.records.cures import cures_of, part_figures

    figures = [each for each in part_figures(cures_of(wanted.reports)) if board in (None, each.board)]
    print_parts(figures, as_json=wanted.as_json)


def _follow(wanted: Wanted, board: str | None) -> None:
    from batchtest.commands.diagnose_follow import follow
    from batchtest.commands.fault_table import setup_for

    if board is None:
        raise SetupError("--follow wants to know which board it is for: --board")
    follow(setup_for(board, wanted.fixture, wanted.bench, wanted.reports), wanted.reports)
