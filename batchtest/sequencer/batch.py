"""A batch: one board after another into the nest, each attempt closed and handed on before the next begins."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import Protocol

from batchtest.errors import BenchError, RecordError
from batchtest.files.library import Setup
from batchtest.judging.rule import Rule
from batchtest.nouns import Attempt, Context, Phase, Waiver
from batchtest.records.excuse import in_force
from batchtest.records.journal import Journal
from batchtest.records.matings import count_mating
from batchtest.sequencer.attempt import Ending, Station, StationT, Work, run_attempt, test
from batchtest.sequencer.logbook import Logbook, Observer
from batchtest.sequencer.shield import uninterrupted
from batchtest.sequencer.told import NOTHING_TOLD, Past, Told, completed, nothing_known


class BatchObserver(Observer, Protocol):
    """Whoever watches a batch."""

    def start_attempt(self, serial: str, attempt: int, seconds_expected: float) -> None:
        """A board is about to be placed."""
        ...


@dataclass(frozen=True, slots=True)
class Job:
    """What is the same for all boards of a batch besides the station: its name, who tests, where records go.

    `waivers` are all of the batch; `since` is the latest time that its records know. `told` is what the person said
    besides, `past` what is known of a board before it is placed.
    """

    batch: str
    operator: str
    reports: Path
    software: str
    waivers: tuple[Waiver, ...] = ()
    since: datetime | None = None
    told: Told = NOTHING_TOLD
    past: Callable[[str], Past] = nothing_known

    def in_force(self, setup: Setup) -> tuple[Waiver, ...]:
        """The waivers that hold now."""
        return in_force(self.waivers, setup, self.now())

    def now(self) -> datetime:
        """The wall clock, or `since` where that clock was set back."""
        now = datetime.now().astimezone()
        return now if self.since is None else max(now, self.since)


@dataclass(frozen=True, slots=True)
class Plan:
    """What an attempt goes by: what its record must say, the decision rule, and the seconds that it should take."""

    context: Context
    rule: Rule
    seconds: float


def run_batch(
    station: Station, job: Job, serials: Iterable[str], place: Callable[[str], None], observer: BatchObserver
) -> Iterator[Attempt]:
    """Test board after board; each attempt is closed on disk before it is handed on.

    Raises
    ------
    Whatever stopped or refused an attempt, after that attempt was handed on: the batch ends there.
    """
    for serial in serials:
        attempt, ending = run_one(station, job, serial, place, observer)
        yield attempt
        if ending.error is not None:
            raise ending.error


def run_one(
    station: Station,
    job: Job,
    serial: str,
    place: Callable[[str], None],
    observer: BatchObserver,
    work: Work[Station] = test,
) -> tuple[Attempt, Ending]:
    """One attempt from the claim of its number to its closed record, and how it ended; its mating is counted first."""
    wear = count_mating(job.reports, station.setup, job.batch, serial)
    context = completed(_context(station, job, serial), station.setup, job.told, job.past(serial), wear)
    plan = Plan(context, station.setup.limits.decision.rule, station.procedure.seconds)
    return record(station, job.reports, plan, place, observer, work)


def record(
    station: StationT,
    reports: Path,
    plan: Plan,
    place: Callable[[str], None],
    observer: BatchObserver,
    work: Work[StationT],
) -> tuple[Attempt, Ending]:
    """One attempt of whatever kind: the number claimed, the work done, the record closed, and how it ended."""
    serial = plan.context.serial
    with Journal.claim(reports, plan.context) as journal:
        observer.start_attempt(serial, journal.attempt, plan.seconds)
        logbook = Logbook(journal, observer, plan.rule, station.bench.clock)
        ending = run_attempt(station, serial, logbook, observer, place, work)
        try:
            with uninterrupted():
                attempt = journal.close(
                    ending.outcome,
                    ending.first_cause,
                    ended=datetime.now().astimezone(),
                    duration_s=logbook.elapsed_s,
                    abort_cause=ending.aborted,
                    proof=[line.measurement.name for line in logbook.lines if line.measurement.phase is Phase.GATE],
                )
        except KeyboardInterrupt as stop:  # held back until the record was closed
            ending = replace(ending, error=ending.error or stop)
        except RecordError as lost:
            raise _not_recorded(lost, ending.error) from lost
    return attempt, ending


def _not_recorded(lost: RecordError, stopped: BaseException | None) -> RecordError:
    """What to say of an attempt that could not be closed: why it is not recorded, and what was wrong with the bench."""
    if isinstance(stopped, RecordError):
        return stopped  # it could not be closed because a line could not be written
    return RecordError(f"{lost}\n{stopped}") if isinstance(stopped, BenchError) else lost


def _context(station: Station, job: Job, serial: str) -> Context:
    setup = station.setup
    return Context(
        board=setup.board,
        board_revision=setup.limits.revision,
        batch=job.batch,
        serial=serial,
        attempt=0,
        station=setup.bench.station,
        operator=job.operator,
        fixture=setup.fixture_name,
        cable=setup.fixture.cable,
        bench=setup.bench_name,
        simulated=setup.bench.simulation is not None,
        ambient_C=station.ambient_C,
        rule=setup.limits.decision.rule,
        limits_sources={name: rail.source for name, rail in setup.limits.rails.items()},
        file_hashes=setup.hashes,
        software=job.software,
        instruments=station.bench.identities,
        started=datetime.now().astimezone(),
        waivers=job.in_force(setup),
        guardian=station.bench.guard.notes,
    )
