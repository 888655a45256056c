"""What the commands that work on a live host share: from the cautions to the record, and what is said at the end."""

from __future__ import annotations

import json
import sys
from abc import ABC, abstractmethod
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

import rich_click as click

from batchtest.errors import StationError

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.commands.screen import Screen
    from batchtest.files.hosts import HostSetup
    from batchtest.nouns import Attempt
    from batchtest.sequencer import Ending, Job


@dataclass(frozen=True, slots=True, kw_only=True)
class Wanted:
    """What the person asked for."""

    serial: str
    batch: str
    operator: str
    ambient: str | None
    reports: Path
    as_json: bool


class OnHost(ABC):
    """One attempt at a host that is live."""

    def __init__(self, host: HostSetup, wanted: Wanted) -> None:
        from batchtest.commands.screen import choose_screen

        self.host, self.wanted = host, wanted
        self.screen: Screen = choose_screen(wanted.as_json, sys.stdout)
        self.attempt: Attempt | None = None
        self.error: BaseException | None = None

    @abstractmethod
    def work(self) -> None:
        """Open the bench, do it, keep the attempt."""

    @abstractmethod
    def tell(self) -> None:
        """Print what was found."""

    @abstractmethod
    def found(self) -> dict[str, Any]:
        """What was found, for machines; there is an attempt."""

    def run(self) -> int:
        """Do all of it; the exit code says what the person must do next."""
        from batchtest.commands.station import catch_signals

        catch_signals()
        with self.screen:
            try:
                self.work()
            except (StationError, KeyboardInterrupt) as error:
                self.error = error
        if self.wanted.as_json:
            click.echo(json.dumps(self.as_json()))
        else:
            self.tell()
        if self.error is not None:
            click.echo(str(self.error) or "interrupted; treat the host as live until it is measured", err=True)
        return self.exit_code()

    def record(
        self,
        bench: Bench,
        attempt: Callable[[Job], tuple[Attempt, Ending]],
        what: str,
        cautions: tuple[str, ...],
        known: Iterable[str] = (),
    ) -> None:
        """Say what begins and what may hurt, make the attempt, write its page.

        Parameters
        ----------
        attempt : called with the job; gives the attempt and how it ended.
        what : the host, or what of it is tested.
        cautions : of this work, before those of all work.
        known : what else is to be said before it begins, a line each.

        Raises
        ------
        StationError : what ended the attempt, once its page is written.
        """
        from batchtest.commands.readiness import require_ready
        from batchtest.commands.startup import tidy_records
        from batchtest.commands.station import job_of, tell_guard
        from batchtest.pages import write_attempt_page

        wanted = self.wanted
        require_ready(bench, ())
        self._start(what, cautions)
        for line in known:
            self.screen.message(line)
        tell_guard(bench, wanted.reports, self.tell_person)
        tidy_records(wanted.reports, self.host.bench.station, self.screen)
        self.attempt, ending = attempt(job_of(wanted.batch, wanted.operator, wanted.reports))
        self.screen.close_attempt(self.attempt, write_attempt_page(wanted.reports / self.attempt.record))
        if ending.error is not None:
            raise ending.error

    def tell_person(self, text: str) -> None:
        """Tell the person, who reads stderr where the screen is a machine's."""
        if self.wanted.as_json:
            click.echo(text, err=True)
        self.screen.message(text)

    def as_json(self) -> dict[str, Any]:
        """What came of it, as one object."""
        told: dict[str, Any] = {"host": self.host.host, "serial": self.wanted.serial}
        if self.attempt is not None:
            told |= {
                "attempt": self.attempt.number,
                "outcome": self.attempt.outcome.value,
                "first_cause": self.attempt.first_cause,
                "record": str(self.wanted.reports / self.attempt.record),
                **self.found(),
            }
        if self.error is not None:
            told["error"] = str(self.error) or type(self.error).__name__
        return told

    def exit_code(self) -> int:
        """0: done and recorded; else by the error."""
        from batchtest.commands import exit_code
        from batchtest.commands.boards import EXIT_INTERRUPTED

        if isinstance(self.error, StationError):
            return exit_code(self.error)
        return 0 if self.error is None else EXIT_INTERRUPTED

    def _start(self, what: str, cautions: tuple[str, ...]) -> None:
        from batchtest.commands.boards import CAUTIONS

        self.screen.start_batch(
            board=what,
            batch=self.wanted.batch,
            bench=self.host.bench_name,
            serials_total=1,
            simulated=self.host.bench.simulation is not None,
            cautions=(*cautions, *CAUTIONS),
        )
