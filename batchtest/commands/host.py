"""`batchtest host`: the map of a live host with nothing mated to it, recorded like a board's attempt."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.commands.on_host import OnHost, Wanted

if TYPE_CHECKING:
    from batchtest.nouns import Line
    from batchtest.procedure.pin_windows import PinWindows


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
    wanted = Wanted(
        serial=known,
        batch=named,
        operator=operator_of(operator),
        ambient=ambient,
        reports=reports,
        as_json=as_json,
    )
    raise SystemExit(_Map(setup, wanted).run())


class _Map(OnHost):
    """One map from the cautions to what was found."""

    windows: PinWindows | None = None

    def work(self) -> None:
        """Open the bench, map the host, write its page."""
        from batchtest.commands.host_station import open_host_station, plug_of
        from batchtest.commands.station import ambient_of
        from batchtest.quantities import write
        from batchtest.sequencer import run_host

        host, wanted = self.host, self.wanted
        mains = write(host.fixture.mains.voltage, "V")
        own = f"This host is fed by {mains} mains and is live while it is mapped: hands off its pins and the plug."
        with open_host_station(host, wanted.reports, ambient_of(host, wanted.ambient), self.screen) as station:
            self.windows = station.procedure.windows
            self.record(
                station.bench,
                lambda job: run_host(station, job, wanted.serial, plug_of(station, self.screen), self.screen),
                host.host,
                (own,),
            )

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

    def found(self) -> dict[str, Any]:
        """Every pin that was read, and which no voltage tells apart."""
        if self.windows is None:
            return {}
        return {"pins": [_pin(line, self.windows) for line in self.lines()], "alike": self.windows.alike()}


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
