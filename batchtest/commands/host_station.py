"""A station for hosts, ready to work: the bench opened, the procedure derived, and who plugs in and switches mains."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from batchtest.bench import Bench
    from batchtest.bench.handler import Handler
    from batchtest.commands.screen import Screen
    from batchtest.files.hosts import HostSetup
    from batchtest.proof import HostSwitch
    from batchtest.sequencer import HostStation


@contextmanager
def open_host_station(setup: HostSetup, reports: Path, ambient_C: float, screen: Screen) -> Iterator[HostStation]:
    """Derive the procedure and open the bench; its lock lies in the reports folder.

    Raises
    ------
    SetupError, BenchError : a file needs mending, or the bench cannot be opened.
    """
    from batchtest.bench import Bench
    from batchtest.clock import ScaledClock
    from batchtest.commands.served import served
    from batchtest.measuring import Reader
    from batchtest.procedure import derive_host
    from batchtest.sequencer import HostStation

    procedure = derive_host(setup)
    simulation = setup.bench.simulation
    clock = ScaledClock(float(simulation.scale) if simulation else 1.0)
    reports.mkdir(parents=True, exist_ok=True)
    with served(setup) as bench_file, Bench.open(bench_file, setup.bench_name, clock, reports, guarded=True) as bench:
        reader = Reader(bench, bench_file, setup.fixture, ambient_C)
        own = replace(setup, bench=bench_file)
        yield HostStation(bench, reader, own, procedure, switch_of(bench, screen), ambient_C)


def plug_of(station: HostStation, screen: Screen) -> Callable[[str], None]:
    """How the break-out plug gets into a host that is off: by a handler that knows hosts, or by the person."""
    handler = station.bench.handler
    if handler is not None and handler.can_switch_hosts:
        return handler.place
    fixture = station.setup.fixture_name

    def ask(serial: str) -> None:
        screen.ask(f"{serial} off at its mains, nothing mated to it: push {fixture} home in it, press Enter ")

    return ask


def switch_of(bench: Bench, screen: Screen) -> HostSwitch:
    """Who switches the mains of a host: a handler that can, or the person."""
    handler = bench.handler
    return _ByHandler(handler) if handler is not None and handler.can_switch_hosts else _ByPerson(screen)


@dataclass(frozen=True, slots=True)
class _ByHandler:
    handler: Handler

    def on(self, serial: str) -> None:
        self.handler.switch_host(on=True)

    def off(self, serial: str) -> None:
        """A second signal does not keep it on."""
        from batchtest.sequencer.shield import uninterrupted

        with uninterrupted():
            self.handler.switch_host(on=False)


@dataclass(frozen=True, slots=True)
class _ByPerson:
    screen: Screen

    def on(self, serial: str) -> None:
        self.screen.ask(f"nothing mated to {serial} but the plug, hands off its pins: switch it on, press Enter ")

    def off(self, serial: str) -> None:
        self.screen.ask(f"switch {serial} off at its mains, press Enter ")
