"""`batchtest bench`: who is on the bench and when it was calibrated; and the challenge with a wrong cable."""

from __future__ import annotations

import getpass
import json
import sys
from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.errors import NotProven, SetupError

if TYPE_CHECKING:
    from batchtest.nouns import Challenge, InstrumentIdentity
    from batchtest.sequencer import Station


@click.command("bench")
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--challenge", "challenged", is_flag=True, help="Show that it refuses a wrong cable by its name.")
@click.option("--fixture", help="Fixture on it; needless where the folder has one, or the simulation names it.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--cable", help="The wrong cable; without it, the one that would do the most harm.")
@click.option("--operator", default=None, help="Who challenges; your login name without it.")
@click.option("--ambient", default=None, help="Temperature at the bench, such as '23 C'.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    bench: str,
    challenged: bool,
    fixture: str | None,
    board: str | None,
    cable: str | None,
    operator: str | None,
    ambient: str | None,
    reports: Path,
    as_json: bool,
) -> None:
    """Open the bench, say who answers and how old each calibration is, and when it last refused a wrong cable.

    With --challenge the deliberately wrong cable is fitted, which must be refused by its own name, and then the right
    one, which must be accepted. Nothing is powered.

    Example: batchtest bench --bench simulated --challenge
    """
    from batchtest.commands.challenge import challenge
    from batchtest.commands.screen import choose_screen
    from batchtest.commands.station import ambient_of, job_of, open_station
    from batchtest.files.library import load_setup
    from batchtest.records.challenge import BATCH

    root = Path.cwd()
    setup = load_setup(root, fixture or _only_fixture(root, bench), bench, board)
    with open_station(setup, reports, ambient_of(setup, ambient)) as station:
        found = None
        if challenged:
            job = job_of(BATCH, operator or getpass.getuser(), reports)
            found = challenge(station, job, choose_screen(as_json, sys.stdout), cable)
        _tell(station, reports, found, as_json)


def _only_fixture(root: Path, bench: str) -> str:
    """The fixture that needs no naming.

    Raises
    ------
    SetupError : there are several; lists them.
    """
    from batchtest.files.library import fixture_names, load_bench

    simulation = load_bench(root, bench).simulation
    known = fixture_names(root)
    if simulation is not None:
        return simulation.fixture
    if len(known) != 1:
        raise SetupError(f"which fixture stands on the bench? say --fixture with one of: {', '.join(known)}")
    return known[0]


def _tell(station: Station, reports: Path, found: Challenge | None, as_json: bool) -> None:
    """Print what is on the bench, and the challenge; one that has just failed is a refusal."""
    from batchtest.records.challenge import last_challenge

    setup = station.setup
    last = found or last_challenge(reports, setup)
    if as_json:
        click.echo(json.dumps(_as_json(station, last), default=str))
    else:
        _print(station, last)
    if found is not None and not found.passed:
        raise NotProven(f"the challenge has failed: {found.why}")


def _as_json(station: Station, last: Challenge | None) -> dict[str, Any]:
    every = station.setup.bench.challenge_every
    return {
        "bench": station.setup.bench_name,
        "station": station.setup.bench.station,
        "fixture": station.setup.fixture_name,
        "instruments": [asdict(known) for known in station.bench.identities],
        "challenge_every_s": None if every is None else float(every),
        "challenge": None if last is None else asdict(last),
    }


def _print(station: Station, last: Challenge | None) -> None:
    from rich.console import Console
    from rich.table import Table
    from rich.text import Text

    from batchtest.commands.challenge import age
    from batchtest.commands.screen import clean

    setup = station.setup
    console = Console(highlight=False)
    console.print(f"[bold]{setup.bench.station}[/], bench {setup.bench_name}, fixture {setup.fixture_name}\n")
    table = Table("role", "answers as", "calibrated", box=None, pad_edge=False)
    for known in station.bench.identities:
        name = f"{known.maker}, {known.model}, serial {known.serial}, firmware {known.firmware}"
        table.add_row(known.role.value, Text(clean(name)), _calibrated(known))
    console.print(table)
    told = "never: batchtest bench --challenge" if last is None else f"{age(last)}: {last.why}"
    word = "passed" if last is not None and last.passed else "not passed"
    console.print(Text(f"\nchallenge {word}, {told}"))


def _calibrated(known: InstrumentIdentity) -> str:
    if known.calibrated is not None:
        return f"{known.calibrated.isoformat()}, due {known.due.isoformat() if known.due else 'not known'}"
    return "not known" if known.calibration_age_d is None else f"{known.calibration_age_d:.0f} d ago"
