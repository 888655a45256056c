"""`batchtest gather`: fold closed batches into Parquet, one file each, beside the records or in one store."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.records.gather import Gathered

#: Where records are, unless other places are named.
REPORTS = Path("reports")


@click.command("gather")
@click.argument("folders", nargs=-1, metavar="[FOLDER...]", type=click.Path(path_type=Path))
@click.option(
    "--to", metavar="URL", help="A folder or fsspec URL that many stations write to, such as s3://bucket/boards."
)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(folders: tuple[Path, ...], to: str | None, as_json: bool) -> None:
    """Fold every closed batch of FOLDER (reports folders, or batches; reports/ without one) into readings.parquet.

    Only what is new is written. A batch with an open attempt is left for the next run; a record that is torn or altered
    is left out and named, and makes the exit code 1. What was gathered before is never lost: where the records of a
    gathered file are gone from the folder, the batch is held back, with exit code 2.

    Example: batchtest gather reports --to s3://bucket/boards
    """
    from rich.console import Console

    from batchtest.records.gather import State, gather

    for folder in folders or (REPORTS,):
        if not folder.is_dir():
            raise SetupError(f"there is no folder {folder}; name the folder of the records, such as {REPORTS}")
    with Console(stderr=True, highlight=False).status("gathering") as status:
        done: list[Gathered] = []

        def told(batch: Gathered) -> None:
            done.append(batch)
            status.update(f"gathering: {len(done)} batches, now {batch.folder.name}")

        gather(folders or (REPORTS,), to, told)
    if as_json:
        click.echo(json.dumps({"batches": [_as_table(batch) for batch in done]}))
    else:
        _show(done)
    held = any(batch.state is State.HELD for batch in done)
    raise SystemExit(2 if held else 1 if any(batch.left_out for batch in done) else 0)


def _as_table(batch: Gathered) -> dict[str, Any]:
    return {
        "batch": batch.folder.name,
        "folder": str(batch.folder),
        "state": batch.state.value,
        "records": batch.records,
        "lines": batch.lines,
        "files": list(batch.files),
        "left_out": dict(batch.left_out),
        "why": batch.why,
    }


def _show(done: Sequence[Gathered]) -> None:
    """What was written and what was left, then the sum."""
    from batchtest.commands.screen import clean
    from batchtest.records.gather import State

    for batch in done:
        name = batch.folder.name
        if batch.state is State.GATHERED:
            where = ", ".join(batch.files) or "no file, since no record could be taken"
            click.echo(f"{name}: {_records(batch.records)}, {batch.lines:,} lines -> {where}")
        elif batch.state is State.OPEN:
            click.echo(f"{name}: left for the next run, {batch.why}")
        elif batch.state is State.HELD:
            click.echo(f"{name}: HELD BACK, {batch.why}")
        for file, why in batch.left_out.items():
            click.echo(clean(f"{name}: LEFT OUT {file}: {why}"))
    counted = [f"{sum(batch.state is state for batch in done)} {state.value}" for state in State]
    left_out = sum(len(batch.left_out) for batch in done)
    click.echo(f"{len(done)} batch{'es' * (len(done) != 1)}: {', '.join(counted)}; {_records(left_out)} left out")


def _records(count: int) -> str:
    return f"{count:,} record{'s' * (count != 1)}"
