"""`batchtest cables`: which cables can be told apart, what a wrong one would burn, and the page that says so."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError, nearest

if TYPE_CHECKING:
    from batchtest.cables.report import Report
    from batchtest.files.library import Library

#: Where the page goes unless another place is named.
PAGE = Path("reports") / "cables.html"


@click.command("cables")
@click.option("--bench", required=True, help="Bench file, by name without ending; its accuracy gives the distances.")
@click.option("--fixture", "fixtures", multiple=True, help="Only this fixture; may be given again.")
@click.option(
    "--page", type=click.Path(path_type=Path, dir_okay=False), help=f"Where the page goes.  [default: {PAGE}]"
)
@click.option("--json", "as_json", is_flag=True, help="The report as one JSON object; the page only with --page.")
def command(bench: str, fixtures: tuple[str, ...], page: Path | None, as_json: bool) -> None:
    """Say which cables can be told apart, what a wrong one would burn, and which id resistors would help.

    Every host, cable and board of the library is solved as one circuit. Nothing is measured.

    Example: batchtest cables --bench simulated
    """
    from batchtest.files.library import load_library

    root = Path.cwd()
    library = load_library(root)
    for name in fixtures:
        if name not in library.fixtures:
            raise SetupError(f"no fixture {name!r}; {nearest(name, list(library.fixtures))}")
    found = _work_out(root, library, bench, fixtures)
    if not as_json:
        from rich.console import Console

        from batchtest.commands.cables_view import CablesView

        CablesView(found, Console(highlight=False)).show()
    if page is not None or not as_json:
        _write_page(found, library, bench, page or PAGE)
    if as_json:
        from batchtest.commands.cables_json import as_json as in_json

        click.echo(json.dumps(in_json(found), allow_nan=False))
    else:
        click.echo(f"\npage: {page or PAGE}")


def _work_out(root: Path, library: Library, bench: str, fixtures: tuple[str, ...]) -> Report:
    """Solve everything; in a terminal, a line on standard error says what is being worked out."""
    from rich.console import Console

    from batchtest.cables.report import report
    from batchtest.files.library import load_bench

    known = load_bench(root, bench)
    with Console(stderr=True, highlight=False).status("working out the cables") as status:
        return report(library, known, fixtures, status.update)


def _write_page(report: Report, library: Library, bench: str, path: Path) -> None:
    from datetime import datetime

    from batchtest.pages.cables import cables_page, write_cables_page

    write_cables_page(path, cables_page(report, library, bench, datetime.now().astimezone()))
