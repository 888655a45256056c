"""A station for outlets, ready to work: what is known worked out, the bench opened with the stop in its load."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.bench.handler import Handler
    from batchtest.commands.screen import Screen
    from batchtest.files.bench import BenchFile
    from batchtest.files.outlets import OutletSetup
    from batchtest.nouns import Attempt, Context
    from batchtest.outlet import FuseMover, OutletProcedure, OutletStation
    from batchtest.sequencer import Ending, Job
    from batchtest.sequencer.logbook import Logbook, Observer

#: The load is given so much more power than the highest voltage times the stop: its own read-back is not exact.
SPARE_W = 1.2
#: A load with a timer of its own switches itself off only so much later than the longest dwell should last, s.
SPARE_S = 60.0


def plan(setup: OutletSetup, ambient_C: float, permitted_by: str | None) -> OutletProcedure:
    """Work out what is known of an outlet, and the ordered actions of its load test.

    Raises
    ------
    SetupError : a file needs mending, or a trip test is asked for where there is none.
    """
    from batchtest.outlet import derive_outlet, full_of, known_of
    from batchtest.procedure import derive_host

    host = derive_host(setup.host)
    known = known_of(setup, full_of(host, setup.outlet.point), ambient_C, permitted_by)
    return derive_outlet(setup, host, known, ambient_C)


@contextmanager
def open_outlet_station(
    setup: OutletSetup, procedure: OutletProcedure, reports: Path, ambient_C: float, screen: Screen
) -> Iterator[OutletStation]:
    """Open the bench with the stop as its load's own limit; its lock lies in the reports folder.

    Raises
    ------
    SetupError, BenchError : a file needs mending, or the bench cannot be opened.
    """
    from batchtest.bench import Bench
    from batchtest.clock import ScaledClock
    from batchtest.commands.host_station import switch_of
    from batchtest.commands.served import served
    from batchtest.measuring import Reader
    from batchtest.outlet import OutletStation

    simulation = setup.bench.simulation
    clock = ScaledClock(float(simulation.scale) if simulation else 1.0)
    reports.mkdir(parents=True, exist_ok=True)
    with served(setup) as addressed:
        bench_file = stopped_at(addressed, setup, procedure)
        with Bench.open(bench_file, setup.bench_name, clock, reports, guarded=True) as bench:
            reader = Reader(bench, bench_file, setup.fixture, ambient_C)
            own = replace(setup, host=replace(setup.host, bench=bench_file))
            yield OutletStation(
                bench, reader, own, procedure, switch_of(bench, screen), mover_of(bench, screen), ambient_C
            )


def stopped_at(bench: BenchFile, setup: OutletSetup, procedure: OutletProcedure) -> BenchFile:
    """A bench whose load has the stop of an outlet as its own limits, and a timer that no dwell outlasts."""
    from batchtest.bench.dialect import LoadDialect, load_dialect

    known, abort = procedure.known, procedure.template.abort
    assert abort is not None, "planned with bounds"
    assert abort.upper is not None, "an upper one"
    limits = {"current": _decimal(known.stop_A), "power": _decimal(SPARE_W * known.stop_A * abort.upper)}
    file = setup.outlet
    if load_dialect(bench.load.dialect, LoadDialect).on_timer is not None:
        longest = max(file.sweep.longest, file.hold.time if file.hold is not None else Decimal(0))
        limits["on_timer"] = longest + _decimal(SPARE_S)
    protection = bench.load.protection.model_copy(update=limits)
    return bench.model_copy(update={"load": bench.load.model_copy(update={"protection": protection})})


def run_outlet(station: OutletStation, job: Job, serial: str, screen: Screen) -> tuple[Attempt, Ending]:
    """Load-test one outlet, from the claim of its attempt's number to its closed record, and how it ended."""
    from batchtest.sequencer.batch import Plan, record

    context = outlet_context(station, job, serial)
    wanted = Plan(context, station.setup.limits.decision.rule, seconds_of(station))
    return record(station, job.reports, wanted, plug_of(station, screen), screen, outlet_work)


def outlet_context(station: OutletStation, job: Job, serial: str) -> Context:
    """What the record of a load test must say: what was known of the outlet before, too."""
    from batchtest.capacity.outlet import as_json
    from batchtest.sequencer.host import host_context

    setup = station.setup
    return replace(
        host_context(station.bench, setup.host, job, serial, station.ambient_C),
        kind="outlet",
        board_revision=setup.outlet.revision,
        fixture=setup.fixture_name,
        fixture_revision=setup.outlet.revision,
        rule=setup.limits.decision.rule,
        limits_sources={"outlet": setup.limits.source},
        file_hashes=setup.hashes,
        outlet=as_json(station.procedure.known),
    )


def seconds_of(station: OutletStation) -> float:
    """How long a person waits for one outlet, s: a simulated bench may live faster."""
    simulation = station.setup.bench.simulation
    return station.procedure.seconds / float(simulation.scale if simulation else 1)


def mover_of(bench: Bench, screen: Screen) -> FuseMover:
    """Who takes a fuse out of its host: a handler that can, or the person."""
    handler = bench.handler
    return _ByHandler(handler) if handler is not None and handler.can_move_fuses else _ByPerson(screen)


def outlet_work(station: OutletStation, serial: str, logbook: Logbook, observer: Observer) -> None:
    """Load-test the outlet of the host that the plug is in; raises as `run_attempt` knows it."""
    from batchtest.outlet import load_test
    from batchtest.procedure import Action

    left_s = seconds_of(station)
    share = left_s / station.procedure.seconds

    def announce(action: Action) -> None:
        nonlocal left_s
        observer.start_action(action, left_s)
        left_s -= action.seconds * share

    load_test(station, serial, logbook.enter, announce, lambda: logbook.lines)


def plug_of(station: OutletStation, screen: Screen) -> Callable[[str], None]:
    """How the break-out plug gets into a host that is off, with the load at the outlet: by a handler, or the person."""
    handler = station.bench.handler
    if handler is not None and handler.can_switch_hosts:
        return handler.place
    setup = station.setup

    def ask(serial: str) -> None:
        screen.ask(
            f"{serial} off at its mains, nothing mated to it: push {setup.outlet.host} home in it, and wire load "
            f"channel {setup.outlet.load} to {setup.outlet.point}, short and twisted; press Enter "
        )

    return ask


def _decimal(value: float) -> Decimal:
    return Decimal(f"{value:.4f}")


@dataclass(frozen=True, slots=True)
class _ByHandler:
    handler: Handler

    def out(self, serial: str) -> None:
        self.handler.move_fuse(out=True)

    def back(self, serial: str) -> None:
        self.handler.move_fuse(out=False)


@dataclass(frozen=True, slots=True)
class _ByPerson:
    screen: Screen

    def out(self, serial: str) -> None:
        self.screen.ask(
            f"{serial} is off and was measured dead: lock it off, take its fuse into the holder on the bench (supply, "
            "fuse, load in series; the meter's leads of the outlet across the load), unplug the host, press Enter "
        )

    def back(self, serial: str) -> None:
        self.screen.ask(f"the fuse is hot, supply and load are off: let it cool, put it back into {serial}, Enter ")
