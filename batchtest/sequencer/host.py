"""One attempt at one host: its live map, recorded like any other attempt. The host is off on every way out."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from batchtest.bench import Bench
from batchtest.files.hosts import HostSetup
from batchtest.judging.rule import Rule
from batchtest.measuring import Reader
from batchtest.nouns import Attempt, Context
from batchtest.procedure import Action
from batchtest.procedure.host_map import HostProcedure
from batchtest.proof import HostSwitch, prove_host
from batchtest.sequencer.attempt import Ending
from batchtest.sequencer.batch import BatchObserver, Job, Plan, record
from batchtest.sequencer.logbook import Logbook, Observer
from batchtest.sequencer.told import humidity_of

#: Hosts are judged so that what passes is shown to pass.
RULE: Rule = "guarded"


@dataclass(frozen=True, slots=True)
class HostStation:
    """What stays from host to host: bench, reader, setup, procedure, and who switches the mains of a host."""

    bench: Bench
    reader: Reader
    setup: HostSetup
    procedure: HostProcedure
    switch: HostSwitch
    ambient_C: float


def run_host(
    station: HostStation, job: Job, serial: str, place: Callable[[str], None], observer: BatchObserver
) -> tuple[Attempt, Ending]:
    """Map one host, from the claim of its attempt's number to its closed record, and how it ended.

    Parameters
    ----------
    place : puts the break-out plug into the host of a serial, which is off.
    """
    context = host_context(station.bench, station.setup, job, serial, station.ambient_C)
    plan = Plan(context, RULE, station.procedure.seconds)
    return record(station, job.reports, plan, place, observer, map_host)


def map_host(station: HostStation, serial: str, logbook: Logbook, observer: Observer) -> None:
    """Prove what a host has on its pins; the proof is thrown away, since nothing more is done with the host."""
    left_s = station.procedure.seconds

    def announce(action: Action) -> None:
        nonlocal left_s
        observer.start_action(action, left_s)
        left_s -= action.seconds

    prove_host(
        station.bench,
        station.reader,
        station.procedure,
        serial,
        switch=station.switch,
        enter=logbook.enter,
        announce=announce,
    )


def host_context(bench: Bench, setup: HostSetup, job: Job, serial: str, ambient_C: float) -> Context:
    """What the record of a host's attempt must say. No waiver excuses anything of a host."""
    return Context(
        board=setup.host,
        board_revision=setup.fixture.revision,
        batch=job.batch,
        serial=serial,
        attempt=0,
        station=setup.bench.station,
        operator=job.operator,
        fixture=setup.fixture_name,
        cable="",
        bench=setup.bench_name,
        simulated=setup.bench.simulation is not None,
        ambient_C=ambient_C,
        rule=RULE,
        limits_sources={},
        file_hashes=setup.hashes,
        software=job.software,
        instruments=bench.identities,
        started=datetime.now().astimezone(),
        kind="host",
        humidity=humidity_of(setup.bench.humidity, job.told),
        fixture_revision=setup.fixture.revision,
        guardian=bench.guard.notes,
    )
