"""`batchtest boards`: test a batch of boards, one after another, each with its record and page."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack
from dataclasses import dataclass, replace
from itertools import chain
from pathlib import Path
from typing import TYPE_CHECKING

import rich_click as click

from batchtest.errors import BenchError, NotProven, RecordError, SetupError, StationError

if TYPE_CHECKING:
    from batchtest.commands.causes import Causes
    from batchtest.commands.retests import Answer
    from batchtest.commands.screen import Screen
    from batchtest.files.library import Setup
    from batchtest.nouns import Attempt, Challenge, Waiver
    from batchtest.sequencer import Job, Station, Told

#: Shown before the first power-up of a batch; the law and licensed practice of the place come first.
CAUTIONS = (
    "Software makes nothing safe. Know where the emergency stop is; a key on this screen is not it.",
    "Eye protection and a lid at first power-up: parts can burst. Capacitors keep charge after switch-off.",
    "Mains stays inside the host: covers on, and only licensed or competent persons as local codes say.",
)
#: What a shell says of a program ended by Ctrl-C.
EXIT_INTERRUPTED = 130


@dataclass(frozen=True, slots=True)
class Wanted:
    """What the person asked for."""

    batch: str
    serials: list[str] | None
    operator: str
    ambient: str | None
    told: Told
    again: Answer
    reports: Path
    strict: bool
    as_json: bool
    causes: bool
    skipped: Sequence[str] = ()


@click.command("boards")
@click.argument("fixture")
@click.option("--bench", required=True, help="Bench file, by name without ending.")
@click.option("--batch", required=True, help="Name of the batch; its records go to reports/BATCH/.")
@click.option("--serials", help="Such as VN-0001..VN-0020, or VN-0003,VN-0007. Typed one after another without it.")
@click.option("--board", help="Board type, where the fixture takes more than one.")
@click.option("--operator", default=None, help="Who tests; your login name without it.")
@click.option(
    "--ambient", default=None, help="Temperature at the bench, such as '23 C', where the bench file has none."
)
@click.option("--humidity", default=None, help="Relative humidity at the bench, such as '45 %', if it was measured.")
@click.option("--firmware", default=None, help="What the boards carry, where the limits file does not say.")
@click.option(
    "--option", default=None, help="By which of its parts lists the boards were made, where that is not said."
)
@click.option("--reason", default=None, help="Why boards are tested again: re-seated, reworked, bench-mended, ...")
@click.option("--and", "second", default=None, help="Who else answers for more retests than the limits allow.")
@click.option("--reports", type=click.Path(path_type=Path, file_okay=False), default=Path("reports"), show_default=True)
@click.option("--resume", is_flag=True, help="Go on with a batch: leave out its serials that are done.")
@click.option(
    "--causes/--no-causes", default=True, envvar="BATCHTEST_CAUSES", help="Find what probably failed, beside the tests."
)
@click.option("--strict", is_flag=True, help="Exit code 1 if any board did not pass.")
@click.option("--json", "as_json", is_flag=True, help="One JSON object at the end instead of a screen.")
def command(
    fixture: str,
    bench: str,
    batch: str,
    serials: str | None,
    board: str | None,
    operator: str | None,
    ambient: str | None,
    humidity: str | None,
    firmware: str | None,
    option: str | None,
    reason: str | None,
    second: str | None,
    reports: Path,
    resume: bool,
    causes: bool,
    strict: bool,
    as_json: bool,
) -> None:
    """Test boards on FIXTURE: each is proven safe, powered, measured under load, recorded and given its page.

    Example: batchtest boards vent-nest --bench simulated --batch demo --serials VN-0001..VN-0020
    """
    from batchtest.commands.going_on import done_already
    from batchtest.commands.retests import answer_of
    from batchtest.commands.serials import checked, expand
    from batchtest.commands.station import operator_of, told_of
    from batchtest.files.library import load_setup
    from batchtest.records.names import checked_name

    by, setup = operator_of(operator), load_setup(Path.cwd(), fixture, bench, board)
    limits = setup.limits
    listed = [checked(serial, limits.serials, limits.board) for serial in expand(serials)] if serials else None
    if resume and listed is None:
        raise SetupError("--resume does not know which boards the batch has; name them by --serials, as before")
    skipped = done_already(reports / checked_name(batch, "batch"), listed or ()) if resume else []
    left = None if listed is None else [serial for serial in listed if serial not in skipped]
    wanted = Wanted(
        batch=checked_name(batch, "batch"),
        serials=left,
        operator=by,
        ambient=ambient,
        told=told_of(setup, firmware, option, humidity),
        again=answer_of(reason, second, by),
        reports=reports,
        strict=strict,
        as_json=as_json,
        causes=causes,
        skipped=skipped,
    )
    raise SystemExit(_Batch(setup, wanted).run())


class _Batch:
    """A batch from the first board to the batch page."""

    def __init__(self, setup: Setup, wanted: Wanted) -> None:
        from batchtest.commands.retests import Retests
        from batchtest.commands.screen import choose_screen

        self.setup, self.wanted = setup, wanted
        self.screen: Screen = choose_screen(wanted.as_json, sys.stdout)
        self.retests = Retests(
            wanted.reports, wanted.batch, setup.limits.retests.allowed, wanted.operator, wanted.again, self.screen
        )
        self.attempts: list[Attempt] = []
        self.challenge: Challenge | None = None
        self.waivers: tuple[Waiver, ...] = ()
        self.error: BaseException | None = None
        self.beside = ExitStack()
        self.causes: Causes | None = None
        self.likely: dict[str, list[str]] = {}

    def run(self) -> int:
        """Test the boards; the exit code says what the person must do next."""
        from batchtest.commands.station import catch_signals

        catch_signals()
        with self.beside:
            with self.screen:
                try:
                    self.test()
                except (StationError, KeyboardInterrupt) as error:
                    self.error = error
                try:
                    self.end()
                except RecordError as error:
                    self.error = self.error or error
            self.say_error()
            self.await_causes()
        if self.wanted.as_json:
            self.print_json()
        return self.exit_code()

    def test(self) -> None:
        """Start what must be started, and test board after board."""
        from batchtest.commands.causes import causes_beside
        from batchtest.commands.challenge import require_challenge
        from batchtest.commands.readiness import require_ready
        from batchtest.commands.station import ambient_of, job_of, open_station, tell_guard
        from batchtest.commands.waive import check_waivers

        setup, wanted = self.setup, self.wanted
        self.retests.require(wanted.serials or ())
        with open_station(setup, wanted.reports, ambient_of(setup, wanted.ambient)) as station:
            job = replace(
                job_of(wanted.batch, wanted.operator, wanted.reports), told=wanted.told, past=self.retests.past
            )
            self.waivers = job.in_force(setup)
            check_waivers(self.waivers, station.procedure)
            require_ready(station.bench, self.waivers)
            self.start_batch(job)
            self.causes = self.beside.enter_context(causes_beside(setup, wanted.reports, wanted=wanted.causes))
            tell_guard(station.bench, wanted.reports, self.tell)
            self.challenge = require_challenge(station, job, self.screen)
            self.work(station, job)

    def work(self, station: Station, job: Job) -> None:
        """Test board after board; where the bench fails and a person brings it back, that board again.

        Raises
        ------
        BenchError, NotProven, ... : what ended the batch.
        """
        from batchtest.commands.going_on import brought_back
        from batchtest.commands.readiness import require_ready
        from batchtest.sequencer import run_batch

        serials, again, place = self.serials(), list[str](), self.placer(station)
        while True:
            try:
                for attempt in run_batch(station, job, chain(again, serials), place, self.screen):
                    self.close(attempt)
                    self.screen.show_waivers(job.in_force(self.setup))
                return
            except BenchError as error:
                again = [self.attempts[-1].serial]
                if self.wanted.as_json or not brought_back(station.bench, error, again[0], self.screen):
                    raise
                require_ready(station.bench, job.in_force(self.setup))

    def end(self) -> None:
        """Write the batch's summary and page, and show how it went."""
        from batchtest.pages import write_batch_page
        from batchtest.records.batch import write_batch_json

        if self.attempts:
            folder = self.wanted.reports / self.wanted.batch
            summary = write_batch_json(folder)
            write_batch_page(folder)
            self.screen.end_batch(summary)

    def await_causes(self) -> None:
        """Add what probably failed on the boards of which that is not known yet, unless the person left."""
        from batchtest.commands.causes_end import last_causes

        if self.causes is not None and not isinstance(self.error, KeyboardInterrupt):
            self.likely |= last_causes(self.causes, self.wanted.batch, quiet=self.wanted.as_json)

    def show_causes(self, serial: str, lines: list[str]) -> None:
        """What probably failed on a board, as it comes."""
        self.likely[serial] = lines
        self.screen.show_causes(serial, lines)

    def start_batch(self, job: Job) -> None:
        """Tell the screen what begins, what an earlier run left unfinished, what is waived, and what is worn."""
        from batchtest.commands.serials import as_range
        from batchtest.commands.startup import tidy_records
        from batchtest.commands.station import wear_warnings
        from batchtest.pages.waivers import expired_line
        from batchtest.records.excuse import expired
        from batchtest.records.matings import wear_of

        self.screen.start_batch(
            board=self.setup.board,
            batch=self.wanted.batch,
            bench=self.setup.bench_name,
            serials_total=len(self.wanted.serials or ()),
            simulated=self.setup.bench.simulation is not None,
            cautions=CAUTIONS,
        )
        if self.wanted.skipped:
            done = as_range(list(self.wanted.skipped))
            self.screen.message(f"resumed: {len(self.wanted.skipped)} of the batch are done and left out: {done}")
        tidy_records(job.reports, self.setup.bench.station, self.screen)
        self.screen.show_waivers(job.in_force(self.setup))
        for waiver in expired(job.waivers, self.setup, job.now()):
            self.screen.message(expired_line(waiver))
        for warning in wear_warnings(wear_of(self.wanted.reports, self.setup)):
            self.screen.message(warning)

    def tell(self, text: str) -> None:
        """Tell the person, who reads stderr where the screen is a machine's."""
        if self.wanted.as_json:
            click.echo(text, err=True)
        self.screen.message(text)

    def close(self, attempt: Attempt) -> None:
        """An attempt is on disk: give it its page, and show its verdict."""
        from batchtest.pages import write_attempt_page
        from batchtest.records.wall_clock import set_back

        self.attempts.append(attempt)
        self.screen.close_attempt(attempt, write_attempt_page(self.wanted.reports / attempt.record))
        if self.causes is not None:
            self.causes.ask(attempt)
            self.causes.show_soon(self.show_causes)
        if back := set_back(attempt.started, attempt.lines):
            self.screen.message(
                f"this computer's clock was set back by {back} in mid-attempt; durations do not go by it"
            )

    def serials(self) -> Iterator[str]:
        """The serials listed, or typed one after another until an empty line, without those left out of a retest."""
        from batchtest.commands.serials import checked

        if self.wanted.serials is not None:
            yield from filter(self.retests.admit, self.wanted.serials)
            return
        limits = self.setup.limits
        while typed := self.screen.ask(f"serial of the next {limits.board} (empty: end of batch): ").strip():
            try:
                serial = checked(typed, limits.serials, limits.board)
            except SetupError as error:
                self.screen.message(str(error))
            else:
                yield from filter(self.retests.admit, [serial])

    def placer(self, station: Station) -> Callable[[str], None]:
        """How a board gets into the nest: by the bench's handler, or by the person."""
        handler = station.bench.handler
        if handler is not None:
            return handler.place
        nest = self.setup.fixture_name

        def ask(serial: str) -> None:
            self.screen.ask(f"outputs are off: put {serial} into {nest}, close the lid, press Enter ")

        return ask

    def say_error(self) -> None:
        """Say on stderr why the batch ended early, and how to go on."""
        if self.error is None:
            return
        from batchtest.commands.serials import as_range

        last = self.attempts[-1] if self.attempts else None
        if last is not None and last.first_cause == str(self.error) and not self.wanted.as_json:
            click.echo(f"{last.outcome.value}: the batch ends at {last.serial}", err=True)
        else:
            click.echo(str(self.error) or "interrupted; outputs are off", err=True)
        done = {attempt.serial for attempt in self.attempts if attempt.outcome not in ("stopped", "refused")}
        left = [serial for serial in self.wanted.serials or () if serial not in done]
        if left and self.attempts and not isinstance(self.error, NotProven):
            click.echo(
                f"resume at serial {left[0]}: --serials {as_range(left)}, or the same command with --resume", err=True
            )

    def print_json(self) -> None:
        """One object: the batch and its attempts, the challenge that counts, and what was waived when it began."""
        from batchtest.commands.boards_json import batch_json

        click.echo(batch_json(self.wanted, self.attempts, self.challenge, self.waivers, self.likely, self.error))

    def exit_code(self) -> int:
        """0: done and recorded; 1 with --strict and a board that did not pass; else by the error."""
        from batchtest.commands import exit_code

        if isinstance(self.error, StationError):
            return exit_code(self.error)
        if self.error is not None:
            return EXIT_INTERRUPTED
        passed = all(attempt.outcome == "pass" for attempt in self.attempts)
        return 0 if passed or not self.wanted.strict else 1
