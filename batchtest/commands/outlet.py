"""`batchtest outlet`: what a host's accessory output can really carry, measured and recorded."""

from __future__ import annotations

import json
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import SetupError, StationError

if TYPE_CHECKING:
    from batchtest.capacity.answer import Answer
    from batchtest.commands.screen import Screen
    from batchtest.files.outlets import OutletSetup
    from batchtest.nouns import Attempt
    from batchtest.outlet import OutletProcedure

#: Shown before an outlet is loaded; the law and licensed practice of the place come first.
CAUTIONS = (
    "The host is somebody's property: load it only with its owner's knowledge, and know its upstream fuse.",
    "Resistors, fuses and the load are hot during and after the test; a tripped fuse stays hot while it is fed.",
    "Do not raise a stop to see what happens. If the result surprises you, stop.",
)


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the person asked for."""

    serial: str
    batch: str
    operator: str
    ambient: str | None
    reports: Path
    permitted_by: str | None
    as_json: bool
    strict: bool


@click.command("outlet")
@click.argument("fixture")
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--serial", required=True, help="Serial of the host, such as CB-001.")
@click.option("--trip", is_flag=True, help="Trip its resettable fuse too; needs --permission.")
@click.option("--permission", metavar="WHO", default=None, help="Who, of the host's owners, permitted the trip test.")
@click.option("--batch", default="outlets", show_default=True, help="Its record goes to reports/BATCH/.")
@click.option("--operator", default=None, help="Who tests it; your login name without it.")
@click.option("--ambient", default=None, help="Temperature at the bench, such as '23 C'.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--json", "as_json", is_flag=True, help="One JSON object at the end instead of a screen.")
@click.option("--strict", is_flag=True, help="Exit code 1 where the outlet does not pass its limits.")
def command(
    fixture: str,
    bench: str,
    serial: str,
    trip: bool,
    permission: str | None,
    batch: str,
    operator: str | None,
    ambient: str | None,
    reports: Path,
    as_json: bool,
    strict: bool,
) -> None:
    """Load-test the accessory output of a host: FIXTURE is the outlet, in fixtures/outlets/.

    The host is mapped and proven first; then its outlet is loaded cold by short pulses, hot to thermal rest, and a
    resettable fuse is held at its derated current. The answer says to how many amperes it is usable at the warmest
    ambient and what limits it, and which of the things to be plugged in will work.

    Example: batchtest outlet cabinet-outlet --bench simulated --serial CB-001
    """
    from batchtest.commands.serials import checked
    from batchtest.commands.station import operator_of
    from batchtest.files.outlets import load_outlet_setup
    from batchtest.records.names import checked_name

    setup = load_outlet_setup(Path.cwd(), fixture, bench)
    known, named = checked(serial, setup.fixture.serials, setup.host.host), checked_name(batch, "batch")
    by = permitted(permission, trip=trip)
    raise SystemExit(
        _Test(setup, Wanted(known, named, operator_of(operator), ambient, reports, by, as_json, strict)).run()
    )


def permitted(permission: str | None, *, trip: bool) -> str | None:
    """Who permitted a trip test; `None` where none is asked for.

    Raises
    ------
    SetupError : a trip test without anybody's permission, a permission without a test, or one that a spreadsheet runs.
    """
    from batchtest.formulas import formula_fault

    said = (permission or "").strip()
    if trip and not said:
        raise SetupError(
            "--trip heats a part of somebody's host until it gives way; say who of its owners permitted that: "
            "--permission 'the caretaker, by letter of 2 March'"
        )
    if said and not trip:
        raise SetupError("--permission is for a trip test; add --trip, or leave it out")
    if fault := formula_fault(said):
        raise SetupError(f"--permission {fault}")
    return said or None


class _Test:
    """One load test from the cautions to the answer."""

    def __init__(self, setup: OutletSetup, wanted: Wanted) -> None:
        from batchtest.commands.screen import choose_screen

        self.setup, self.wanted = setup, wanted
        self.screen: Screen = choose_screen(wanted.as_json, sys.stdout)
        self.procedure: OutletProcedure | None = None
        self.attempt: Attempt | None = None
        self.error: BaseException | None = None
        self.ambient_C = 0.0

    def run(self) -> int:
        """Test the outlet; the exit code says what the person must do next."""
        from batchtest.commands.station import catch_signals

        catch_signals()
        with self.screen:
            try:
                self.test()
            except (StationError, KeyboardInterrupt) as error:
                self.error = error
        if self.wanted.as_json:
            click.echo(json.dumps(self.as_json()))
        else:
            self.tell()
        if self.error is not None:
            click.echo(str(self.error) or "interrupted; treat the host as live until it is measured", err=True)
        return self.exit_code()

    def test(self) -> None:
        """Say the cautions, open the bench, load the outlet, write its page."""
        from batchtest.commands.outlet_station import open_outlet_station, plan, run_outlet
        from batchtest.commands.readiness import require_ready
        from batchtest.commands.startup import tidy_records
        from batchtest.commands.station import ambient_of, job_of, tell_guard
        from batchtest.pages import write_attempt_page

        setup, wanted = self.setup, self.wanted
        self.ambient_C = ambient_of(setup, wanted.ambient)
        self.procedure = plan(setup, self.ambient_C, wanted.permitted_by)
        with open_outlet_station(setup, self.procedure, wanted.reports, self.ambient_C, self.screen) as station:
            require_ready(station.bench, ())
            self.start(self.procedure)
            tell_guard(station.bench, wanted.reports, self.tell_person)
            tidy_records(wanted.reports, setup.bench.station, self.screen)
            job = job_of(wanted.batch, wanted.operator, wanted.reports)
            self.attempt, ending = run_outlet(station, job, wanted.serial, self.screen)
            self.screen.close_attempt(self.attempt, write_attempt_page(wanted.reports / self.attempt.record))
            if ending.error is not None:
                raise ending.error

    def start(self, procedure: OutletProcedure) -> None:
        """Say what begins, what may hurt, and where the stop is."""
        from batchtest.commands.boards import CAUTIONS as OF_POWER
        from batchtest.commands.outlet_view import known_lines
        from batchtest.quantities import write

        mains = write(self.setup.fixture.mains.voltage, "V")
        own = (
            f"This host is fed by {mains} mains and is live while its outlet is loaded: hands off pins, plug and leads."
        )
        self.screen.start_batch(
            board=f"outlet of {self.setup.host.host}",
            batch=self.wanted.batch,
            bench=self.setup.bench_name,
            serials_total=1,
            simulated=self.setup.bench.simulation is not None,
            cautions=(own, *CAUTIONS, *OF_POWER),
        )
        for line in known_lines(procedure):
            self.screen.message(line)

    def tell_person(self, text: str) -> None:
        """Tell the person, who reads stderr where the screen is a machine's."""
        if self.wanted.as_json:
            click.echo(text, err=True)
        self.screen.message(text)

    def answer(self) -> Answer | None:
        """What the test says, as far as it came."""
        from batchtest.capacity.answer import answer_of_record

        if self.attempt is None or self.procedure is None:
            return None
        return answer_of_record(self.procedure.known, self.attempt.lines, self.ambient_C)

    def tell(self) -> None:
        """Print the answer, the budget, and what another part would change."""
        from batchtest.commands.outlet_view import print_answer

        answer = self.answer()
        if answer is not None and self.procedure is not None and answer.cold:
            print_answer(answer, self.procedure.known)

    def as_json(self) -> dict[str, object]:
        """What was found, as one object."""
        from batchtest.commands.outlet_view import answer_json

        found: dict[str, object] = {"host": self.setup.host.host, "serial": self.wanted.serial}
        answer = self.answer()
        if self.attempt is not None and answer is not None:
            found |= {
                "attempt": self.attempt.number,
                "outcome": self.attempt.outcome.value,
                "first_cause": self.attempt.first_cause,
                "record": str(self.wanted.reports / self.attempt.record),
                **answer_json(answer),
            }
        if self.error is not None:
            found["error"] = str(self.error) or type(self.error).__name__
        return found

    def exit_code(self) -> int:
        """0: tested and recorded, whatever the outlet is; with --strict 1 where it does not pass; else by the error."""
        from batchtest.commands import exit_code
        from batchtest.commands.boards import EXIT_INTERRUPTED
        from batchtest.nouns import Outcome

        if isinstance(self.error, StationError):
            return exit_code(self.error)
        if self.error is not None:
            return EXIT_INTERRUPTED
        passed = self.attempt is not None and self.attempt.outcome is Outcome.PASS
        return 1 if self.wanted.strict and not passed else 0
