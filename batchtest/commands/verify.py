"""`batchtest verify`: are the records of a folder whole and unaltered, as far as a chain of hashes can tell."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.commands.progress import progress

if TYPE_CHECKING:
    from batchtest.records.damage import Damage
    from batchtest.records.verify import Verified

#: The exit code that says that something is damaged.
EXIT_DAMAGED = 1


@click.command("verify")
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False, exists=True), default=Path("reports"))
@click.option("--head", "printed", multiple=True, help="A hash from a printed page; more than once for several.")
@click.option("--quick", is_flag=True, help="Do not render every page again; their seals are looked at all the same.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(folder: Path, printed: tuple[str, ...], quick: bool, as_json: bool) -> None:
    """Check every record of FOLDER, the reports folder, against its hash, its place, its page and its station's chain.

    Exit code 0: whole; 1: damaged. Each damage is named with its record and field. The head of the chain stands on
    every page: with --head a tail that was cut off shows as well.

    Example: batchtest verify reports --head "3f2a 91c0 77de"
    """
    from batchtest.records.verify import as_json as written
    from batchtest.records.verify import verify

    with progress("records", shown=not as_json) as told:
        found = verify(folder, printed, told)
    if not quick:
        found = _with_pages(folder, found, shown=not as_json)
    if as_json:
        click.echo(written(found))
    else:
        _print(found, quick=quick)
    raise SystemExit(EXIT_DAMAGED if found.damage else 0)


def _with_pages(folder: Path, found: Verified, *, shown: bool) -> Verified:
    """What was found, and what the pages say otherwise than their records."""
    from batchtest.pages.compare import attempt_pages, page_faults
    from batchtest.records.names import CSV

    blamed = {fault.record.removesuffix(CSV).removesuffix(".html") for fault in found.damage}
    pages = [page for page in attempt_pages(folder) if f"{page.parent.name}/{page.stem}" not in blamed]
    faults: list[Damage] = []
    with progress("pages", shown=shown) as told:
        for done, page in enumerate(pages, start=1):
            faults += page_faults(page)
            told(done, len(pages))
    return replace(found, damage=(*found.damage, *faults))


def _print(found: Verified, *, quick: bool) -> None:
    from batchtest.commands.screen import clean
    from batchtest.records.chain import short
    from batchtest.records.verify import NOT_PROVEN

    for note in found.notes:
        click.echo(clean(f"note: {note}"))
    for fault in found.damage:
        click.echo(clean(f"DAMAGED: {fault}"))
    for chain in found.chains:
        head = f"head {short(chain.head)} ({chain.head})" if chain.head else "no one head"
        click.echo(f"chain of {chain.station}: {chain.records} records, {head}")
    word = f"DAMAGED, {len(found.damage)} found" if found.damage else "whole"
    pages = f"{found.pages} pages{' by their seals alone' * quick}"
    click.echo(f"{found.folder}: {word}: {found.records} records, {pages}")
    click.echo("This does not prove:")
    for text in NOT_PROVEN:
        click.echo(f"- {text}")
