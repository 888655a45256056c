"""Start the simulated bench of a setup, and fill its addresses into the bench file."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from types import TracebackType
from typing import Self

from batchtest.clock import Clock
from batchtest.files.address import address_kind
from batchtest.files.bench import BenchFile, Handler, Instrument
from batchtest.files.hosts import HostSetup
from batchtest.files.library import Setup
from batchtest.nouns import Role
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.faces import ending_of, face_of
from batchtest.simulated.handler import SimulatedHandler, SimulatedHostHandler, SimulatedOutletHandler
from batchtest.simulated.host_rack import HostRack
from batchtest.simulated.load import SimulatedLoad
from batchtest.simulated.log import BenchLog
from batchtest.simulated.meter import SimulatedMeter
from batchtest.simulated.on_bench import BenchInstrument
from batchtest.simulated.outlet import OutletRack
from batchtest.simulated.rack import Rack
from batchtest.simulated.scanner import SimulatedScanner
from batchtest.simulated.supply import SimulatedSupply
from batchtest.simulated.transports import Server, serve


@dataclass(frozen=True, slots=True)
class Instruments:
    """The instruments themselves, for looking at what is true; `handler` is `None` where a person places boards."""

    meter: SimulatedMeter
    load: SimulatedLoad
    supply: SimulatedSupply
    scanner: SimulatedScanner
    handler: SimulatedHandler | SimulatedHostHandler | None

    def by_role(self) -> dict[Role, BenchInstrument]:
        """Instruments that are there, by role."""
        found: dict[Role, BenchInstrument | None] = {
            Role.METER: self.meter,
            Role.LOAD: self.load,
            Role.SUPPLY: self.supply,
            Role.SCANNER: self.scanner,
            Role.HANDLER: self.handler,
        }
        return {role: instrument for role, instrument in found.items() if instrument is not None}


class RunningBench:
    """A simulated bench being served on loopback; a context manager that stops it.

    Attributes
    ----------
    addresses : VISA resource name of each role.
    bench_file : the setup's bench with addresses and endings filled in, `[simulation]` kept.
    rack, log, instruments : what is true, what was received, and the instruments themselves.
    servers : by role; a `Mishap` put into `servers[role].mishaps` befalls its next reply.
    """

    def __init__(self, setup: Setup | HostSetup, clock: Clock, connections: int | None = None) -> None:
        self.log = BenchLog()
        self.rack = rack_of(setup, self.log)
        self.instruments = instruments_of(setup, self.rack)
        self.servers = self._served(setup.bench, clock, connections)
        self.addresses = {role: server.address for role, server in self.servers.items()}
        self.bench_file = with_addresses(setup.bench, self.addresses)

    def _served(self, bench: BenchFile, clock: Clock, connections: int | None) -> dict[Role, Server]:
        assert bench.simulation is not None
        ways = bench.simulation.transports
        served = {}
        for role, instrument in self.instruments.by_role().items():
            file: Instrument = getattr(bench, role.value)
            way = ways.get(role.value, bench.simulation.transport)
            served[role] = serve(way, face_of(file.dialect, instrument), file, clock, connections or file.connections)
        return served

    def stop(self) -> None:
        """Stop serving; again does nothing."""
        for server in self.servers.values():
            server.stop()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.stop()


def start_bench(setup: Setup | HostSetup, clock: Clock, connections: int | None = None) -> RunningBench:
    """Serve the simulated bench of a setup from this process, each instrument by the transport that the file says.

    Parameters
    ----------
    setup : from `load_setup`, or from `load_host_setup` for a live host; its bench has a `[simulation]`.
    clock : where its instruments take their time from, and what replies wait on.
    connections : how many connections each instrument takes at a time; `None` for what the bench file says of each.

    Raises
    ------
    SetupError : the bench has real instruments, or a dialect that no simulated instrument speaks.
    NoOperatingPoint : the circuit has no solution even with nominal parts.
    """
    return RunningBench(setup, clock, connections)


def rack_of(setup: Setup | HostSetup, log: BenchLog) -> Rack | HostRack:
    """What the instruments are wired to: a nest, a live host, or a host whose outlet a load draws from."""
    if not isinstance(setup, HostSetup):
        return Rack(setup, log)
    loaded = any(point.load is not None for point in setup.fixture.points.values())
    return OutletRack(setup, log) if loaded and simulation_of(setup).outlet is not None else HostRack(setup, log)


def instruments_of(setup: Setup | HostSetup, rack: Rack | HostRack) -> Instruments:
    """The instruments of a bench, wired to a rack; without any transport."""
    bench, simulation = setup.bench, simulation_of(setup)
    return Instruments(
        meter=SimulatedMeter(bench, simulation, rack),
        load=SimulatedLoad(bench, simulation, rack),
        supply=SimulatedSupply(bench, simulation, rack),
        scanner=SimulatedScanner(bench, rack),
        handler=_handler(bench.handler, rack) if isinstance(bench.handler, Handler) else None,
    )


def _handler(handler: Handler, rack: Rack | HostRack) -> SimulatedHandler | SimulatedHostHandler:
    if isinstance(rack, OutletRack):
        return SimulatedOutletHandler(handler, rack)
    return SimulatedHostHandler(handler, rack) if isinstance(rack, HostRack) else SimulatedHandler(handler, rack)


def with_addresses(bench: BenchFile, addresses: Mapping[Role, str]) -> BenchFile:
    """A bench with each instrument's address filled in, and endings where the transport does not mark ends itself."""

    def addressed(role: Role, instrument: Instrument) -> Instrument:
        address = addresses[role]
        ending = None if address_kind(address) in ("HISLIP", "VXI11") else ending_of(instrument.dialect)
        return instrument.model_copy(update={"address": address, "read_ending": ending, "write_ending": ending})

    present: dict[Role, Instrument] = {role: getattr(bench, str(role)) for role in addresses}
    return bench.model_copy(update={str(role): addressed(role, one) for role, one in present.items()})
