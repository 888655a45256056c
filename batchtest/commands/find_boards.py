"""`batchtest find`: every board that an instrument, a fixture, a cable or a person touched."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from rich.console import Console

    from batchtest.records.search import Found, Touched, Wanted

#: Option -> what it asks for; each but the span of time is a field of `records.search`.
OPTIONS = {
    "--meter-serial": "Serial of a meter, as it answered on the bench.",
    "--load-serial": "Serial of an electronic load.",
    "--supply-serial": "Serial of a supply.",
    "--scanner-serial": "Serial of a scanner.",
    "--fixture": "Fixture, by name without ending.",
    "--cable": "Cable, by name without ending.",
    "--bench": "Bench file, by name without ending.",
    "--station": "Station.",
    "--operator": "Who tested.",
    "--board": "Board type, or host.",
    "--batch": "Batch.",
    "--serial": "Serial of a board.",
    "--outcome": "pass, fail, doubtful, stopped or refused.",
}
#: Rows that a terminal is given; a page or a machine gets all.
MOST_ROWS = 200


def _options(command: Callable[..., None]) -> Callable[..., None]:
    for name, what in reversed(OPTIONS.items()):
        command = click.option(name, help=what)(command)
    return command


@click.command("find")
@_options
@click.option(
    "--between", nargs=2, metavar="FIRST LAST", help="Two days or times, both included; local time without an offset."
)
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--page", type=click.Path(path_type=Path, dir_okay=False), help="Write the list as a page to print.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    between: tuple[str, str] | None, reports: Path, page: Path | None, as_json: bool, **asked: str | None
) -> None:
    """Find every board that something touched: all that is asked for must hold. Read from the records themselves.

    Exit code 1: a description is damaged, so that what it was made with is not known.

    Example: batchtest find --meter-serial SM-1 --between 2026-11-03 2026-11-30 --page recall.html
    """
    from rich.console import Console

    from batchtest.commands.span import span
    from batchtest.records.search import Wanted, search

    values = {name.replace("_", " "): value for name, value in asked.items() if value is not None}
    if not values and between is None:
        raise SetupError(
            "nothing to find was named; name one at least, such as --meter-serial SM-1 or --fixture vent-nest"
        )
    if not reports.is_dir():
        raise SetupError(f"there is no folder {reports}; write --reports FOLDER")
    since, until = span(*between) if between else (None, None)
    wanted = Wanted(values=values, since=since, until=until)
    with Console(stderr=True, highlight=False).status(f"reading the records in {reports}"):
        found = search(reports, wanted)
    if page is not None:
        _write_page(page, found, wanted)
    if as_json:
        click.echo(json.dumps(as_table(found, page)))
    else:
        _show(found, Console(highlight=False))
        if page is not None:
            click.echo(f"page: {page}")
    raise SystemExit(1 if found.damaged else 0)


def as_table(found: Found, page: Path | None = None) -> dict[str, Any]:
    """What was found as one JSON object."""
    return {
        "searched": found.searched,
        "boards": found.boards,
        "outcomes": {outcome.value: count for outcome, count in found.outcomes.items()},
        "attempts": [_as_row(one) for one in found.attempts],
        "open": list(found.open),
        "damaged": dict(found.damaged),
        "page": None if page is None else str(page),
    }


def _as_row(one: Touched) -> dict[str, Any]:
    from batchtest.records.search import FIELDS

    named = {name.replace(" ", "_"): tell(one.closing) for name, tell in FIELDS.items()}
    return named | {
        "attempt": one.context.attempt,
        "kind": one.context.kind,
        "first_cause": one.closing.first_cause,
        "started": one.context.started.isoformat(),
        "ended": one.closing.ended.isoformat(),
        "simulated": one.context.simulated,
        "waived": bool(one.context.waivers),
        "intact": one.intact,
        "record": str(one.record),
    }


def _show(found: Found, console: Console) -> None:
    """A row an attempt, then the counts, then what is not known."""
    from rich.table import Table
    from rich.text import Text

    from batchtest.commands.marks import DANGER, marked
    from batchtest.commands.screen import clean
    from batchtest.pages.found import counts, not_known, with_what
    from batchtest.pages.render import moment

    table = Table(box=None, padding=(0, 2, 0, 0), pad_edge=False, header_style="dim")
    for name in ("board", "outcome", "batch", "started", "by", "with"):
        table.add_column(name, overflow="fold")
    for one in found.attempts[:MOST_ROWS]:
        shown = marked(one.closing.outcome.value, ascii_only=console.options.ascii_only)
        context = one.context
        texts = (context.batch, moment(context.started), context.operator, with_what(one))
        name = f"{context.serial}.{context.attempt}"
        outcome = Text(*shown).append(" waived" if context.waivers else "")
        table.add_row(Text(name, "bold"), outcome, *(Text(clean(text)) for text in texts))
    if found.attempts:
        console.print(table)
    if (more := len(found.attempts) - MOST_ROWS) > 0:
        console.print(Text(f"and {more:,} more attempts; --page PATH or --json has them all", "bold"))
    console.print(Text(counts(found), "bold"))
    for line in not_known(found):
        console.print(Text(clean(line), DANGER if found.damaged else ""))


def _write_page(path: Path, found: Found, wanted: Wanted) -> None:
    from datetime import datetime

    from batchtest.pages.found import found_page
    from batchtest.records.disk import on_disk, write_whole

    with on_disk(f"{path} cannot be written"):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, found_page(found, wanted, datetime.now().astimezone()))
