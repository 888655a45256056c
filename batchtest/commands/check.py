"""`batchtest check`: every fault of every file, or else the derived procedure with the time each action should take."""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import asdict
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.files.library import Setup
    from batchtest.files.outlets import OutletSetup
    from batchtest.nouns import Measurement
    from batchtest.outlet import OutletProcedure
    from batchtest.procedure import Action, HostProcedure, Procedure
    from batchtest.records.matings import Wear

#: Where a bench file says no temperature, a plan is made for this one, C.
ROOM_C = 23.0


@click.command("check")
@click.argument("fixture", required=False)
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option(
    "--write-limits", type=click.Path(path_type=Path), help="Write the board's limits to this file, .csv or .toml."
)
@click.option("--json", "as_json", is_flag=True, help="The procedure as one JSON object.")
def command(
    fixture: str | None, bench: str, board: str | None, reports: Path, write_limits: Path | None, as_json: bool
) -> None:
    """Read the files and print every fault, or else the procedure that follows from them.

    Without FIXTURE, every fixture of the folder is checked, those of hosts too, and the files of outlets.

    Example: batchtest check vent-nest --bench simulated
    """
    from batchtest.commands.station import wear_warnings
    from batchtest.files.bench import warnings
    from batchtest.files.hosts import load_host_setup
    from batchtest.files.library import Setup, fixture_names, host_fixture_names, load_bench, load_setup, outlet_names
    from batchtest.files.outlets import load_outlet_setup
    from batchtest.procedure import derive, derive_host
    from batchtest.records.matings import wear_of

    root = Path.cwd()
    hosts = host_fixture_names(root)
    if write_limits is not None:
        _write_limits(write_limits, fixture if fixture not in hosts else None, bench, board)
        return
    outlets = outlet_names(root)
    for name in outlets if fixture is None else ():
        load_outlet_setup(root, name, bench)
    if fixture in outlets:
        _check_outlet(load_outlet_setup(root, str(fixture), bench), as_json)
        return
    names = [fixture] if fixture else [*fixture_names(root), *hosts]
    setups = [
        load_host_setup(root, name, bench) if name in hosts else load_setup(root, name, bench, board) for name in names
    ]
    for warning in warnings(load_bench(root, bench)):
        click.echo(warning, err=True)
    procedures = [derive(setup) if isinstance(setup, Setup) else derive_host(setup) for setup in setups]
    worn = [wear_of(reports, setup) if isinstance(setup, Setup) else () for setup in setups]
    if as_json:
        click.echo(json.dumps([_as_json(procedure, wear) for procedure, wear in zip(procedures, worn, strict=True)]))
        return
    for setup, procedure in zip(setups, procedures, strict=True):
        _print(procedure)
        if isinstance(setup, Setup):
            click.echo(_coverage(setup, reports))
    for warning in dict.fromkeys(wear_warnings(chain.from_iterable(worn))):
        click.echo(warning)


def _check_outlet(setup: OutletSetup, as_json: bool) -> None:
    """The procedure of an outlet, and what is known of it before."""
    from batchtest.commands.outlet_station import plan
    from batchtest.commands.outlet_view import known_lines

    procedure = plan(setup, ROOM_C if setup.bench.ambient is None else float(setup.bench.ambient), None)
    if as_json:
        click.echo(json.dumps([_as_json(procedure, ())]))
        return
    _print(procedure)
    for line in known_lines(procedure):
        click.echo(line)


def _write_limits(path: Path, fixture: str | None, bench: str, board: str | None) -> None:
    """Write a checked board's limits the other way; the file they stand in now is left to the person."""
    from batchtest.files.library import load_setup
    from batchtest.files.limits_write import as_csv, as_toml

    write = {".csv": as_csv, ".toml": as_toml}.get(path.suffix)
    if write is None:
        raise SetupError(f"--write-limits {str(path)!r} ends with neither .csv nor .toml; name it such as vent.csv")
    if fixture is None:
        raise SetupError("--write-limits needs the fixture of one board; name it: batchtest check FIXTURE")
    setup = load_setup(Path.cwd(), fixture, bench, board)
    try:
        with path.open("x", encoding="utf-8", newline="") as file:
            file.write(write(setup.limits))
    except OSError as error:
        raise SetupError(f"{path} cannot be written ({error.strerror}); nothing is overwritten") from error
    click.echo(f"limits of {setup.board} written to {path}, the same values; comments do not travel")
    click.echo(f"keep one of the two in limits/, {setup.board}.toml or {setup.board}.csv: both together are refused")


def _as_json(procedure: Procedure | HostProcedure | OutletProcedure, wear: Iterable[Wear]) -> dict[str, Any]:
    kind, name, actions = _parts(procedure)
    return {
        kind: name,
        "fixture": procedure.fixture,
        "bench": procedure.bench,
        "seconds": round(procedure.seconds, 3),
        "matings": [asdict(each) for each in wear],
        "actions": [
            {
                "title": action.title,
                "seconds": round(action.seconds, 3),
                "measurements": [m.name for m in action.measurements],
            }
            for action in actions
        ],
    }


def _parts(procedure: Procedure | HostProcedure | OutletProcedure) -> tuple[str, str, tuple[Action, ...]]:
    """What is tested, "board", "host" or "outlet", its name, and the actions in order."""
    from batchtest.outlet import OutletProcedure
    from batchtest.procedure import Procedure

    if isinstance(procedure, OutletProcedure):
        return "outlet", f"outlet of {procedure.known.host}", (*procedure.host.actions, *procedure.actions)
    if isinstance(procedure, Procedure):
        return "board", procedure.board, (*procedure.gate, *procedure.powered)
    return "host", procedure.host, procedure.actions


def _print(procedure: Procedure | HostProcedure | OutletProcedure) -> None:
    from rich.console import Console
    from rich.table import Table

    from batchtest.commands.host import cannot_tell
    from batchtest.procedure import HostProcedure, Procedure

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
    if isinstance(procedure, HostProcedure):
        for said in cannot_tell(procedure.windows):
            console.print(said)


def _coverage(setup: Setup, reports: Path) -> str:
    """Which faults the procedure sees, where the fault table is there; else how to have it made."""
    from batchtest.diagnosis import cached, coverage
    from batchtest.diagnosis.words import coverage_summary

    how = f"batchtest diagnose --board {setup.board} --fixture {setup.fixture_name} --bench {setup.bench_name}"
    table = cached(setup, reports)
    if table is None:
        return f"which faults of the board it cannot see: {how}"
    return f"{coverage_summary(coverage(table))}; which ones: {how}"


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
