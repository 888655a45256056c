"""`batchtest review`: yield across batches, first causes, margins and drift, with what is worth acting on."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError, nearest

if TYPE_CHECKING:
    from batchtest.records.cures import PartFigures
    from batchtest.review.answers.model import Dimension, Review

#: Where records are, unless other places are named.
REPORTS = "reports"
#: What `--where` may name; the last three choose readings and leave the yields as they are.
CONDITIONS = (
    *("board", "revision", "batch", "fixture", "cable", "station", "operator", "month", "serial"),
    *("name", "point", "load-point"),
)
#: Kind of a notice that tells of a torn or altered record.
LEFT_OUT = "left out"
#: Those of them that a rework note tells of.
_OF_NOTES = {"board", "batch", "serial"}
#: What `--by` may name; an operator only when asked for, and then sorted by name.
GROUPINGS = ("batch", "rail", "load-point", "fixture", "cable", "station", "operator", "month")


@click.command("review")
@click.argument("folder", default=REPORTS)
@click.option(
    "--by",
    "groupings",
    multiple=True,
    metavar="WHAT",
    help=f"Group by {', '.join(GROUPINGS)} as well; may be given again. Batches always are.",
)
@click.option(
    "--where",
    "conditions",
    multiple=True,
    metavar="NAME=VALUE",
    help=f"Only records of which this holds: {', '.join(CONDITIONS)}; may be given again.",
)
@click.option(
    "--golden",
    multiple=True,
    metavar="SERIAL",
    help="A reference board: in no yield; its drift is taken off that of the batches. May be given again.",
)
@click.option(
    "--engine",
    default="duckdb",
    show_default=True,
    help="duckdb, local-spark, or spark://HOST:PORT (extra cluster).",
)
@click.option(
    "--page",
    type=click.Path(path_type=Path, dir_okay=False),
    help="Write all of it as one page with charts, to look at and print.",
)
@click.option(
    "--csv",
    "tables",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="FOLDER",
    help="Write every number as CSV files.",
)
@click.option("--json", "as_json", is_flag=True, help="Every number as one JSON object.")
def command(
    folder: str,
    groupings: tuple[str, ...],
    conditions: tuple[str, ...],
    golden: tuple[str, ...],
    engine: str,
    page: Path | None,
    tables: Path | None,
    as_json: bool,
) -> None:
    """Look across the batches of FOLDER: a reports folder, or where `batchtest gather --to` wrote.

    Every yield comes with its interval, and "cannot tell" is an answer. Limits that changed are never pooled. What is
    torn, altered or still open is named, and is in no number.

    Exit code 1: a record is torn or altered.

    Example: batchtest review reports --by fixture --page reports/review.html
    """
    by, where = _dimensions(groupings), _conditions(conditions)
    found, damaged = _work_out(folder, by, where, golden, engine)
    if page is not None:
        from batchtest.pages.review import review_page, write_review_page

        write_review_page(page, review_page(found))
    if tables is not None:
        from batchtest.commands.review_files import write_tables

        write_tables(tables, found)
    if as_json:
        from batchtest.commands.review_files import as_json as in_json

        click.echo(in_json(found))
    else:
        _show(found, page, tables)
    raise SystemExit(1 if damaged else 0)


def _show(found: Review, page: Path | None, tables: Path | None) -> None:
    from rich.console import Console

    from batchtest.commands.review_view import ReviewView

    ReviewView(found, Console(highlight=False)).show()
    for name, path in (("page", page), ("tables", tables)):
        if path is not None:
            click.echo(f"{name}: {path}")


def _work_out(
    folder: str, by: tuple[Dimension, ...], where: Mapping[str, tuple[str, ...]], golden: tuple[str, ...], engine: str
) -> tuple[Review, bool]:
    """Find the records, ask, and answer; says too whether a record was torn or altered.

    In a terminal, a line on standard error says what is being done.
    """
    from datetime import datetime

    from rich.console import Console

    from batchtest.review.answers import Request, review
    from batchtest.review.answers.model import LeftOut
    from batchtest.review.engine import open_engine, open_sources
    from batchtest.review.questions import Selection

    with (
        Console(stderr=True, highlight=False).status(f"gathering the records in {folder}") as status,
        open_sources(folder, lambda batch: status.update(f"gathering {batch.folder}")) as sources,
    ):
        status.update(f"reviewing what lies in {folder}")
        request = Request(
            made=datetime.now().astimezone(),
            engine=engine,
            by=by,
            where=tuple(f"{name.replace('_', ' ')} {' or '.join(values)}" for name, values in where.items()),
            left_out=tuple(LeftOut(name=one.where, why=f"{one.kind}: {one.why}") for one in sources.notices),
            repaired=_repaired(Path(folder), where),
        )
        with open_engine(sources, Selection(where=where, golden=golden), engine) as questions:
            return review(questions, request), any(one.kind == LEFT_OUT for one in sources.notices)


def _repaired(folder: Path, where: Mapping[str, tuple[str, ...]]) -> tuple[PartFigures, ...]:
    """What rework notes taught; nothing where the folder has none, or a note does not tell of what is asked for."""
    from batchtest.records.cures import cures_of, part_figures

    if not set(where) <= _OF_NOTES:
        return ()
    chosen = (cure for cure in cures_of(folder) if all(getattr(cure, name) in wanted for name, wanted in where.items()))
    return part_figures(chosen)


def _dimensions(groupings: Sequence[str]) -> tuple[Dimension, ...]:
    """What to group by, each once.

    Raises
    ------
    SetupError : nothing can be grouped by that.
    """
    from batchtest.review.answers.model import Dimension

    for name in groupings:
        if name not in GROUPINGS:
            raise SetupError(f"--by {name!r}: nothing is grouped by that; {nearest(name, GROUPINGS)}")
    return tuple(Dimension(name.replace("-", " ")) for name in dict.fromkeys(groupings or ("batch",)))


def _conditions(written: Sequence[str]) -> dict[str, tuple[str, ...]]:
    """Field -> the values that it may have; a name that is given again has one value more.

    Raises
    ------
    SetupError : no such name, or no value.
    """
    found: dict[str, tuple[str, ...]] = {}
    for text in written:
        name, _, value = text.partition("=")
        if name not in CONDITIONS:
            raise SetupError(f"--where {text!r}: nothing is chosen by {name!r}; {nearest(name, CONDITIONS)}")
        if not value:
            raise SetupError(f"--where {text!r} has no value; write it such as --where {name}=VALUE")
        field = name.replace("-", "_")
        found[field] = (*found.get(field, ()), value)
    return found
