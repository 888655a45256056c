"""`batchtest bench`: who is on the bench and when it was calibrated; and the challenge with a wrong cable."""

from __future__ import annotations

import json
import sys
from dataclasses import asdict
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.commands.find import find_options, tell_found
from batchtest.errors import NotProven, SetupError

if TYPE_CHECKING:
    from batchtest.nouns import Challenge
    from batchtest.sequencer import Station


@click.command("bench")
@click.option("--bench", help="Bench file, by name without ending.")
@find_options
@click.option("--challenge", "challenged", is_flag=True, help="Show that it refuses a wrong cable by its name.")
@click.option("--fixture", help="Fixture on it; needless where the folder has one, or the simulation names it.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--cable", help="The wrong cable; without it, the one that would do the most harm.")
@click.option("--operator", default=None, help="Who challenges; your login name without it.")
@click.option("--ambient", default=None, help="Temperature at the bench, such as '23 C'.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--learn", type=click.Choice(["meter", "load", "supply", "scanner", "handler"]), help="Start a dialect.")
@click.option("--address", help="With --learn: where the instrument is, a VISA resource name.")
@click.option("--name", help="With --learn: write fixtures/dialects/NAME.toml instead of printing it.")
@click.option(
    "--ending", type=click.Choice(["LF", "CR", "CRLF", "none"]), default="LF", help="With --learn: tried first."
)
@click.option("--baud", type=click.IntRange(1), help="With --learn: of a serial line.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object.")
def command(
    bench: str | None,
    find: bool,
    find_network: str | None,
    challenged: bool,
    fixture: str | None,
    board: str | None,
    cable: str | None,
    operator: str | None,
    ambient: str | None,
    reports: Path,
    as_json: bool,
    **learning: Any,
) -> None:
    """Open the bench, say who answers and how old each calibration is, and when it last refused a wrong cable.

    With --challenge the deliberately wrong cable is fitted, which must be refused by its own name, and then the right
    one, which must be accepted. Nothing is powered. --find needs no bench: it helps to write its file.

    With --learn an instrument is asked harmless queries only, and a dialect file is started from what it understood.

    Example: batchtest bench --bench simulated --challenge
    """
    if learning["learn"] is not None:
        from batchtest.commands.learn import learn_dialect

        role = learning.pop("learn")
        learn_dialect(role, **learning, as_json=as_json)
        return
    if find or find_network is not None:
        tell_found(find, find_network, as_json)
        return
    if bench is None:
        raise SetupError("which bench? say --bench with the name of its file; or --find")
    from batchtest.commands.challenge import challenge
    from batchtest.commands.screen import choose_screen
    from batchtest.commands.startup import tidy_records
    from batchtest.commands.station import ambient_of, job_of, open_station, operator_of, tell_guard
    from batchtest.files.library import load_setup
    from batchtest.records.challenge import BATCH

    root, by = Path.cwd(), operator_of(operator)
    setup = load_setup(root, fixture or _only_fixture(root, bench), bench, board)
    with open_station(setup, reports, ambient_of(setup, ambient)) as station:
        tell_guard(station.bench, reports, partial(click.echo, err=True))
        found = None
        if challenged:
            screen = choose_screen(as_json, sys.stdout)
            tidy_records(reports, setup.bench.station, screen)
            found = challenge(station, job_of(BATCH, by, reports), screen, cable)
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
    from batchtest.commands.bench_view import instruments_as_json

    every = station.setup.bench.challenge_every
    return {
        "bench": station.setup.bench_name,
        "station": station.setup.bench.station,
        "fixture": station.setup.fixture_name,
        "instruments": instruments_as_json(station.bench),
        "mains_Hz": float(station.setup.bench.mains),
        "meter_mains_Hz": station.bench.meter_mains_Hz,
        "challenge_every_s": None if every is None else float(every),
        "challenge": None if last is None else asdict(last),
    }


def _print(station: Station, last: Challenge | None) -> None:
    from rich.console import Console
    from rich.text import Text

    from batchtest.commands.bench_view import instrument_table, mains_line
    from batchtest.commands.challenge import age

    setup = station.setup
    console = Console(highlight=False)
    console.print(f"[bold]{setup.bench.station}[/], bench {setup.bench_name}, fixture {setup.fixture_name}\n")
    console.print(instrument_table(station.bench))
    console.print(Text(f"\n{mains_line(station.bench)}"))
    told = "never: batchtest bench --challenge" if last is None else f"{age(last)}: {last.why}"
    word = "passed" if last is not None and last.passed else "not passed"
    console.print(Text(f"challenge {word}, {told}"))
