"""A whole station for outlets on the simulated bench and the virtual clock: hours of a load test in a second or two."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from functools import lru_cache
from pathlib import Path
from typing import Any

from stations import ROOT, Watcher

from batchtest.bench import Bench
from batchtest.clock import VirtualClock
from batchtest.commands.host_station import switch_of
from batchtest.commands.outlet_station import mover_of, outlet_context, outlet_work, plan, stopped_at
from batchtest.commands.screen import SilentScreen
from batchtest.files.outlets import OutletSetup, load_outlet_setup
from batchtest.files.simulation import SimulatedOutlet
from batchtest.measuring import Reader
from batchtest.nouns import Attempt, Line
from batchtest.outlet import OutletProcedure, OutletStation
from batchtest.sequencer import Ending
from batchtest.sequencer.batch import Plan, record
from batchtest.simulated import RunningBench, start_bench

AMBIENT_C = 23.0

_loaded = lru_cache(load_outlet_setup)


def demo_outlet(
    name: str = "cabinet-outlet",
    *,
    outlet: dict[str, Any] | None = None,
    limits: dict[str, Any] | None = None,
    **simulated: Any,
) -> OutletSetup:
    """A demo outlet; keys of its file, of its limits and of what is simulated may be given anew."""
    setup = _loaded(ROOT, name, "simulated")
    simulation = setup.bench.simulation
    assert simulation is not None
    told = (simulation.outlet or SimulatedOutlet()).model_copy(
        update={key: value for key, value in simulated.items() if key in SimulatedOutlet.model_fields}
    )
    others = {key: value for key, value in simulated.items() if key not in SimulatedOutlet.model_fields}
    changed = simulation.model_copy(update={"transport": "direct", "outlet": told, **others})
    bench = setup.bench.model_copy(update={"simulation": changed})
    return replace(
        setup,
        host=replace(setup.host, bench=bench),
        outlet=setup.outlet.model_copy(update=outlet or {}),
        limits=setup.limits.model_copy(update=limits or {}),
    )


@lru_cache
def planned(name: str, permitted_by: str | None = None, ambient_C: float = AMBIENT_C) -> OutletProcedure:
    """The procedure of a demo outlet as it is."""
    return plan(demo_outlet(name), ambient_C, permitted_by)


@dataclass
class OutletStand:
    """A station for outlets with its simulated bench in sight."""

    running: RunningBench
    station: OutletStation
    reports: Path
    watcher: Watcher = field(default_factory=Watcher)

    def test(self, serial: str = "CB-001", batch: str = "try") -> tuple[Attempt, Ending]:
        """One load test, recorded."""
        from batchtest.sequencer import Job

        job = Job(batch, "tester", self.reports, "batchtest under test")
        context = outlet_context(self.station, job, serial)
        wanted = Plan(context, self.station.setup.limits.decision.rule, self.station.procedure.seconds)
        handler = self.station.bench.handler
        assert handler is not None
        return record(self.station, self.reports, wanted, handler.place, self.watcher, outlet_work)

    @property
    def lines(self) -> list[Line]:
        """What was told of, once it was on disk."""
        return self.watcher.lines

    @property
    def outputs_on(self) -> list[str]:
        """Which outputs, and whether the host, are truly on."""
        found = ["supply"] if self.running.instruments.supply.output_on else []
        found += [f"load {channel}" for channel in self.running.instruments.load.inputs_on]
        return [*found, "host"] if getattr(self.running.rack, "live", False) else found


@contextmanager
def outlet_stand(
    reports: Path, setup: OutletSetup, procedure: OutletProcedure, ambient_C: float = AMBIENT_C
) -> Iterator[OutletStand]:
    """Start a simulated bench in this process, and a station for outlets on it."""
    clock = VirtualClock()
    reports.mkdir(parents=True, exist_ok=True)
    with start_bench(setup.host, clock) as running:
        file = stopped_at(running.bench_file, setup, procedure)
        with Bench.open(file, "try", clock, reports) as bench:
            screen = SilentScreen()
            own = replace(setup, host=replace(setup.host, bench=file))
            reader = Reader(bench, file, setup.fixture, ambient_C)
            mover, switch = mover_of(bench, screen), switch_of(bench, screen)
            station = OutletStation(bench, reader, own, procedure, switch, mover, ambient_C)
            yield OutletStand(running, station, reports)
