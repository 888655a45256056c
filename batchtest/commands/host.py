"""`batchtest host`: the map of a live host with nothing mated to it, recorded like a board's attempt."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import StationError

if TYPE_CHECKING:
    from batchtest.commands.screen import Screen
    from batchtest.files.hosts import HostSetup
    from batchtest.nouns import Attempt, Line
    from batchtest.procedure.pin_windows import PinWindows


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the person asked for."""

    serial: str
    batch: str
    operator: str
    ambient: str | None
    reports: Path
    as_json: bool


@click.command("host")
@click.argument("fixture")
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--serial", required=True, help="Serial of the host, such as CB-001.")
@click.option("--batch", default="hosts", show_default=True, help="Its record goes to reports/BATCH/.")
@click.option("--operator", default=None, help="Who maps it; your login name without it.")
@click.option("--ambient", default=None, help="Temperature at the bench, such as '23 C'.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object at the end instead of a screen.")
def command(
    fixture: str,
    bench: str,
    serial: str,
    batch: str,
    operator: str | None,
    ambient: str | None,
    reports: Path,
    as_json: bool,
) -> None:
    """Map a live host with nothing mated to it: FIXTURE is its break-out plug, in fixtures/hosts/.

    The host is shown to be dead, switched on, every pin is read, unused ones too, and it is switched off and shown to
    be dead again. A pin that does not read what the host's circuit says refuses it with exit code 4.

    Example: batchtest host cabinet-breakout --bench simulated --serial CB-001
    """
    from batchtest.commands.serials import checked
    from batchtest.commands.station import operator_of
    from batchtest.files.hosts import load_host_setup
    from batchtest.records.names import checked_name

    setup = load_host_setup(Path.cwd(), fixture, bench)
    known = checked(serial, setup.fixture.serials, setup.host)
    named = checked_name(batch, "batch")
    raise SystemExit(_Map(setup, Wanted(known, named, operator_of(operator), ambient, reports, as_json)).run())


class _Map:
    """One map from the cautions to what was found."""

    def __init__(self, setup: HostSetup, wanted: Wanted) -> None:
        from batchtest.commands.screen import choose_screen

        self.setup, self.wanted = setup, wanted
        self.screen: Screen = choose_screen(wanted.as_json, sys.stdout)
        self.attempt: Attempt | None = None
        self.windows: PinWindows | None = None
        self.error: BaseException | None = None

    def run(self) -> int:
        """Map the host; the exit code says what the person must do next."""
        from batchtest.commands.station import catch_signals

        catch_signals()
        with self.screen:
            try:
                self.map()
            except (StationError, KeyboardInterrupt) as error:
                self.error = error
        if self.wanted.as_json:
            click.echo(json.dumps(self.as_json()))
        else:
            self.tell()
        if self.error is not None:
            click.echo(str(self.error) or "interrupted; treat the host as live until it is measured", err=True)
        return self.exit_code()

    def map(self) -> None:
        """Say the cautions, open the bench, map the host, write its page."""
        from batchtest.commands.host_station import open_host_station, plug_of
        from batchtest.commands.readiness import require_ready
        from batchtest.commands.startup import tidy_records
        from batchtest.commands.station import ambient_of, job_of, tell_guard
        from batchtest.pages import write_attempt_page
        from batchtest.sequencer import run_host

        setup, wanted = self.setup, self.wanted
        with open_host_station(setup, wanted.reports, ambient_of(setup, wanted.ambient), self.screen) as station:
            self.windows = station.procedure.windows
            require_ready(station.bench, ())
            self.start()
            tell_guard(station.bench, wanted.reports, self.tell_person)
            tidy_records(wanted.reports, setup.bench.station, self.screen)
            job = job_of(wanted.batch, wanted.operator, wanted.reports)
            self.attempt, ending = run_host(station, job, wanted.serial, plug_of(station, self.screen), self.screen)
            self.screen.close_attempt(self.attempt, write_attempt_page(wanted.reports / self.attempt.record))
            if ending.error is not None:
                raise ending.error

    def start(self) -> None:
        """Say what begins, and what may hurt."""
        from batchtest.commands.boards import CAUTIONS
        from batchtest.quantities import write

        mains = write(self.setup.fixture.mains.voltage, "V")
        own = f"This host is fed by {mains} mains and is live while it is mapped: hands off its pins and the plug."
        self.screen.start_batch(
            board=self.setup.host,
            batch=self.wanted.batch,
            bench=self.setup.bench_name,
            serials_total=1,
            simulated=self.setup.bench.simulation is not None,
            cautions=(own, *CAUTIONS),
        )

    def tell_person(self, text: str) -> None:
        """Tell the person, who reads stderr where the screen is a machine's."""
        if self.wanted.as_json:
            click.echo(text, err=True)
        self.screen.message(text)

    def tell(self) -> None:
        """Print every pin that was read, and what no voltage tells."""
        from rich.console import Console
        from rich.table import Table

        lines = self.lines()
        if self.windows is None or not lines:
            return
        table = Table("pins", "point", "reads", "should read", "", box=None, pad_edge=False)
        for line in lines:
            table.add_row(*_row(line, self.windows))
        console = Console(highlight=False)
        console.print(table)
        for said in cannot_tell(self.windows):
            console.print(said)

    def lines(self) -> list[Line]:
        """The readings of the live host."""
        from batchtest.nouns import Phase

        found = self.attempt.lines if self.attempt else ()
        return [line for line in found if line.measurement.phase is Phase.HOST]

    def as_json(self) -> dict[str, object]:
        """What was found, as one object."""
        found: dict[str, object] = {"host": self.setup.host, "serial": self.wanted.serial}
        if self.attempt is not None and self.windows is not None:
            found |= {
                "attempt": self.attempt.number,
                "outcome": self.attempt.outcome.value,
                "first_cause": self.attempt.first_cause,
                "record": str(self.wanted.reports / self.attempt.record),
                "pins": [_pin(line, self.windows) for line in self.lines()],
                "alike": self.windows.alike(),
            }
        if self.error is not None:
            found["error"] = str(self.error) or type(self.error).__name__
        return found

    def exit_code(self) -> int:
        """0: mapped, recorded and as it should be; else by the error."""
        from batchtest.commands import exit_code
        from batchtest.commands.boards import EXIT_INTERRUPTED

        if isinstance(self.error, StationError):
            return exit_code(self.error)
        return 0 if self.error is None else EXIT_INTERRUPTED


def cannot_tell(windows: PinWindows) -> list[str]:
    """A sentence for each two pins that could be swapped and no voltage would tell."""
    return [
        f"no voltage tells pins {one} and {other} apart: swapped, they would read the same"
        for one, other in windows.alike()
    ]


def _row(line: Line, windows: PinWindows) -> tuple[str, str, str, str, str]:
    from batchtest.quantities import show

    measurement, limit = line.measurement, line.measurement.limit
    plus, minus = windows.points[measurement.point]
    bounds = f"{show(limit.lower, 'V', 4)} to {show(limit.upper, 'V', 4)}" if limit else ""
    verdict = line.judgement.verdict.value if line.judgement else ""
    return f"{plus} to {minus}", measurement.point, show(line.reading.value, "V", 4), bounds, verdict


def _pin(line: Line, windows: PinWindows) -> dict[str, object]:
    limit = line.measurement.limit
    return {
        "point": line.measurement.point,
        "pins": windows.points[line.measurement.point],
        "value_V": line.reading.value,
        "lower_V": limit.lower if limit else None,
        "upper_V": limit.upper if limit else None,
        "verdict": line.judgement.verdict.value if line.judgement else None,
    }
