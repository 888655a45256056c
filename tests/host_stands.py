"""A station for hosts on the simulated bench and the virtual clock: a live host behind its break-out, no waiting."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path
from typing import Any

from stations import ROOT, Watcher

from batchtest.bench import Bench
from batchtest.clock import Clock, VirtualClock
from batchtest.files.hosts import HostSetup, load_host_setup
from batchtest.measuring import Reader
from batchtest.nouns import Attempt
from batchtest.procedure import HostProcedure, derive_host
from batchtest.sequencer import Ending, HostStation, Job, run_host
from batchtest.simulated import RunningBench, start_bench


def host_setup(hosts: dict[str, str] | None = None, **simulation: Any) -> HostSetup:
    """The demo's cabinet behind its break-out; `hosts` says what is wrong with which serial, all others are good."""
    setup = load_host_setup(ROOT, "cabinet-breakout", "simulated")
    assert setup.bench.simulation is not None
    changed = setup.bench.simulation.model_copy(update={"hosts": hosts or {}, "transport": "direct", **simulation})
    return replace(setup, bench=setup.bench.model_copy(update={"simulation": changed}))


@cache
def host_procedure() -> HostProcedure:
    """The demo's procedure for hosts."""
    return derive_host(host_setup())


@dataclass
class Switch:
    """The mains switch of the host by the handler, as the command has it; it keeps what it was asked for."""

    bench: Bench
    asked: list[str] = field(default_factory=list)

    def on(self, serial: str) -> None:
        """On."""
        self.asked.append(f"{serial} on")
        assert self.bench.handler is not None
        self.bench.handler.switch_host(on=True)

    def off(self, serial: str) -> None:
        """Off."""
        self.asked.append(f"{serial} off")
        assert self.bench.handler is not None
        self.bench.handler.switch_host(on=False)


@dataclass
class HostStand:
    """A station for hosts with its simulated bench in sight."""

    running: RunningBench
    station: HostStation
    switch: Switch
    reports: Path
    watcher: Watcher = field(default_factory=Watcher)

    def map(self, serial: str) -> tuple[Attempt, Ending]:
        """Map one host."""
        handler = self.station.bench.handler
        assert handler is not None
        job = Job("hosts", "tester", self.reports, "batchtest under test")
        return run_host(self.station, job, serial, handler.place, self.watcher)

    @property
    def live(self) -> bool:
        """Whether the mains of the host are truly on."""
        return bool(self.running.rack.live)

    @property
    def was_on(self) -> list[str]:
        """Outputs of the bench's own that were ever on."""
        return [role for role in ("supply", "load") if self.running.log.was_on(role)]


@contextmanager
def host_stand(reports: Path, setup: HostSetup | None = None, clock: Clock | None = None) -> Iterator[HostStand]:
    """Start a simulated bench with a host in this process, and a station on it."""
    setup, clock = setup or host_setup(), clock or VirtualClock()
    reports.mkdir(parents=True, exist_ok=True)
    with start_bench(setup, clock) as running, Bench.open(running.bench_file, "try", clock, reports) as bench:
        reader, switch = Reader(bench, running.bench_file, setup.fixture, 23.0), Switch(bench)
        own = replace(setup, bench=running.bench_file)
        yield HostStand(running, HostStation(bench, reader, own, host_procedure(), switch, 23.0), switch, reports)
