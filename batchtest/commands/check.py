"""`batchtest check`: every fault of every file, or else the derived procedure with the time each action should take."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

if TYPE_CHECKING:
    from batchtest.nouns import Measurement
    from batchtest.procedure import Action, HostProcedure, Procedure


@click.command("check")
@click.argument("fixture", required=False)
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--json", "as_json", is_flag=True, help="The procedure as one JSON object.")
def command(fixture: str | None, bench: str, board: str | None, as_json: bool) -> None:
    """Read the files and print every fault, or else the procedure that follows from them.

    Without FIXTURE, every fixture of the folder is checked, those of hosts too.

    Example: batchtest check vent-nest --bench simulated
    """
    from batchtest.files.bench import warnings
    from batchtest.files.hosts import load_host_setup
    from batchtest.files.library import fixture_names, host_fixture_names, load_bench, load_setup
    from batchtest.procedure import derive, derive_host

    root = Path.cwd()
    hosts = host_fixture_names(root)
    names = [fixture] if fixture else [*fixture_names(root), *hosts]
    procedures = [
        derive_host(load_host_setup(root, name, bench))
        if name in hosts
        else derive(load_setup(root, name, bench, board))
        for name in names
    ]
    for warning in warnings(load_bench(root, bench)):
        click.echo(warning, err=True)
    if as_json:
        click.echo(json.dumps([_as_json(procedure) for procedure in procedures]))
        return
    for procedure in procedures:
        _print(procedure)


def _as_json(procedure: Procedure | HostProcedure) -> dict[str, Any]:
    kind, name, actions = _parts(procedure)
    return {
        kind: name,
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


def _parts(procedure: Procedure | HostProcedure) -> tuple[str, str, tuple[Action, ...]]:
    """What is tested, "board" or "host", its name, and the actions in order."""
    from batchtest.procedure import Procedure

    if isinstance(procedure, Procedure):
        return "board", procedure.board, (*procedure.gate, *procedure.powered)
    return "host", procedure.host, procedure.actions


def _print(procedure: Procedure | HostProcedure) -> None:
    from rich.console import Console
    from rich.table import Table

    from batchtest.commands.host import cannot_tell
    from batchtest.procedure import Procedure

    console = Console(highlight=False)
    kind, name, actions = _parts(procedure)
    last = len(procedure.gate) if isinstance(procedure, Procedure) else None
    console.print(
        f"[bold]{name}[/] on {procedure.fixture}, bench {procedure.bench}: {procedure.seconds:.1f} s a {kind}\n"
    )
    table = Table("", "action, and what is read in it", "limits", "time", box=None, pad_edge=False)
    table.columns[0].justify = table.columns[-1].justify = "right"
    for number, action in enumerate(actions, start=1):
        if last is not None and number == last + 1:
            table.add_row("", "[bold]the gate ends here: a proof, or no power[/]", "", "")
        table.add_row(str(number), action.title, "", f"{action.seconds:.2f} s")
        for measurement in action.measurements:
            table.add_row("", f"   {measurement.name}", _limits(measurement), "")
    console.print(table)
    if not isinstance(procedure, Procedure):
        for said in cannot_tell(procedure.windows):
            console.print(said)


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
