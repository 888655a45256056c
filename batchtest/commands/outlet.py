"""`batchtest outlet`: what a host's accessory output can really carry, measured and recorded."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.commands.on_host import OnHost, Wanted
from batchtest.errors import SetupError

if TYPE_CHECKING:
    from batchtest.capacity.answer import Answer
    from batchtest.files.outlets import OutletSetup
    from batchtest.outlet import OutletProcedure

#: Shown before an outlet is loaded; the law and licensed practice of the place come first.
CAUTIONS = (
    "The host is somebody's property: load it only with its owner's knowledge, and know its upstream fuse.",
    "Resistors, fuses and the load are hot during and after the test; a tripped fuse stays hot while it is fed.",
    "Do not raise a stop to see what happens. If the result surprises you, stop.",
)


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
    wanted = Wanted(
        serial=known,
        batch=named,
        operator=operator_of(operator),
        ambient=ambient,
        reports=reports,
        as_json=as_json,
    )
    raise SystemExit(_Test(setup, wanted, by, strict=strict).run())


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


class _Test(OnHost):
    """One load test from the cautions to the answer.

    Parameters
    ----------
    permitted_by : who permitted a trip test; `None`: none is asked for.
    strict : whether an outlet that does not pass makes the exit code 1.
    """

    def __init__(self, setup: OutletSetup, wanted: Wanted, permitted_by: str | None, *, strict: bool) -> None:
        super().__init__(setup.host, wanted)
        self._setup, self._permitted_by, self._strict = setup, permitted_by, strict
        self._procedure: OutletProcedure | None = None
        self._ambient_C = 0.0

    def work(self) -> None:
        """Open the bench, load the outlet, write its page."""
        from batchtest.commands.outlet_station import open_outlet_station, plan, run_outlet
        from batchtest.commands.outlet_view import known_lines
        from batchtest.commands.station import ambient_of

        setup, wanted = self._setup, self.wanted
        self._ambient_C = ambient_of(setup, wanted.ambient)
        self._procedure = plan(setup, self._ambient_C, self._permitted_by)
        with open_outlet_station(setup, self._procedure, wanted.reports, self._ambient_C, self.screen) as station:
            self.record(
                station.bench,
                lambda job: run_outlet(station, job, wanted.serial, self.screen),
                f"outlet of {self.host.host}",
                (self._live(), *CAUTIONS),
                known_lines(self._procedure),
            )

    def _live(self) -> str:
        from batchtest.quantities import write

        mains = write(self._setup.fixture.mains.voltage, "V")
        return (
            f"This host is fed by {mains} mains and is live while its outlet is loaded: hands off pins, plug and leads."
        )

    def answer(self) -> Answer | None:
        """What the test says, as far as it came."""
        from batchtest.capacity.answer import answer_of_record

        if self.attempt is None or self._procedure is None:
            return None
        return answer_of_record(self._procedure.known, self.attempt.lines, self._ambient_C)

    def tell(self) -> None:
        """Print the answer, the budget, and what another part would change."""
        from batchtest.commands.outlet_view import print_answer

        answer = self.answer()
        if answer is not None and self._procedure is not None and answer.cold:
            print_answer(answer, self._procedure.known)

    def found(self) -> dict[str, Any]:
        """The answer in numbers."""
        from batchtest.commands.outlet_view import answer_json

        answer = self.answer()
        return {} if answer is None else answer_json(answer)

    def exit_code(self) -> int:
        """0: tested and recorded, whatever the outlet is; with --strict 1 where it does not pass; else by the error."""
        from batchtest.nouns import Outcome

        passed = self.attempt is not None and self.attempt.outcome is Outcome.PASS
        return super().exit_code() or int(self._strict and not passed)
