"""`batchtest check`: every fault of every file, or else the derived procedure with the time each action should take."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from batchtest.nouns import Measurement
    from batchtest.procedure import Procedure


@click.command("check")
@click.argument("fixture", required=False)
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--json", "as_json", is_flag=True, help="The procedure as one JSON object.")
def command(fixture: str | None, bench: str, board: str | None, as_json: bool) -> None:
    """Read the files and print every fault, or else the procedure that follows from them.

    Without FIXTURE, every fixture of the folder is checked.

    Example: batchtest check vent-nest --bench simulated
    """
    from batchtest.files.library import fixture_names, load_setup
    from batchtest.procedure import derive

    root = Path.cwd()
    names = [fixture] if fixture else fixture_names(root)
    procedures = [derive(load_setup(root, name, bench, board)) for name in names]
    if as_json:
        click.echo(json.dumps([_as_json(procedure) for procedure in procedures]))
        return
    for procedure in procedures:
        _print(procedure)


def _as_json(procedure: Procedure) -> dict[str, Any]:
    actions = (*procedure.gate, *procedure.powered)
    return {
        "board": procedure.board,
        "fixture": procedure.fixture,
        "bench": procedure.bench,
        "seconds": round(procedure.seconds, 3),
        "actions": [
            {
                "title": action.title,
                "seconds": round(action.seconds, 3),
                "measurements": [m.name for m in action.measurements],
            }
            for action in actions
        ],
    }


def _print(procedure: Procedure) -> None:
    from rich.console import Console
    from rich.table import Table

    console = Console(highlight=False)
    console.print(
        f"[bold]{procedure.board}[/] on {procedure.fixture}, bench {procedure.bench}: "
        f"{procedure.seconds:.1f} s a board\n"
    )
    table = Table("", "action, and what is read in it", "limits", "time", box=None, pad_edge=False)
    table.columns[0].justify = table.columns[-1].justify = "right"
    for number, action in enumerate((*procedure.gate, *procedure.powered), start=1):
        if number == len(procedure.gate) + 1:
            table.add_row("", "[bold]the gate ends here: a proof, or no power[/]", "", "")
        table.add_row(str(number), action.title, "", f"{action.seconds:.2f} s")
        for measurement in action.measurements:
            table.add_row("", f"   {measurement.name}", _limits(measurement), "")
    console.print(table)


def _limits(measurement: Measurement) -> str:
    from batchtest.quantities import show

    limit, unit = measurement.limit, measurement.unit
    if limit is None:
        return ""
    if limit.lower is None:
        return f"at most {show(limit.upper, unit)}"
    if limit.upper is None:
        return f"at least {show(limit.lower, unit)}"
    return f"{show(limit.lower, unit)} .. {show(limit.upper, unit)}"
