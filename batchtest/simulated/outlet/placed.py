"""One host with what is truly behind its outlet: its circuit, the part in series, its own fuse."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from batchtest.circuits import OutletModel
from batchtest.errors import SetupError
from batchtest.files.bench import SimulatedOutlet
from batchtest.files.circuit import CircuitFile
from batchtest.files.hosts import HostSetup
from batchtest.simulated.boards import simulation_of
from batchtest.simulated.hosts import Host
from batchtest.simulated.outlet.drawn import drawn_limiter
from batchtest.simulated.outlet.feeds import HostSource, least_load_ohm
from batchtest.simulated.outlet.limiter import Limiter
from batchtest.simulated.outlet.upstream import UpstreamFuse

#: Temperature at the bench where its file does not say, C.
ROOM_C = 23.0
#: Role of the host's own fuse in its circuit.
FUSE_ROLE = "fuse"


@dataclass(frozen=True, slots=True)
class OutletPoint:
    """Where the outlet is reached: the point of the fixture, and the load channel that draws from it."""

    name: str
    channel: int
    ends: tuple[str, str]


@dataclass(slots=True)
class PlacedOutlet:
    """A host behind the plug.

    Attributes
    ----------
    host : with the part in series at its resistance at rest.
    source : its circuit before that part.
    limiter, upstream : the part in series, and the host's own fuse.
    """

    host: Host
    source: HostSource
    limiter: Limiter
    upstream: UpstreamFuse
    told: SimulatedOutlet

    @property
    def wire_ohm(self) -> float:
        """Harness between the part and the pins, ohm."""
        return float(self.told.wire)

    @property
    def load_ohm(self) -> float:
        """Least resistance of the load and what leads to it, ohm."""
        return least_load_ohm(float(self.told.lead))


def outlet_point(setup: HostSetup) -> OutletPoint:
    """The point from which a load channel draws; raises SetupError where there is none."""
    for name, point in setup.fixture.points.items():
        if point.load is not None:
            return OutletPoint(name, point.load, (point.plus, point.minus))
    raise SetupError(f"no point of {setup.fixture_name} has a load; write load = 1 at the outlet's point")


def told_outlet(setup: HostSetup) -> SimulatedOutlet:
    """What the bench file says of the simulated outlet; raises SetupError where it does not."""
    told = simulation_of(setup).outlet
    if told is None or told.part is None or told.variant is None:
        raise SetupError(f"[simulation.outlet] of bench {setup.bench_name} has no part or no variant; write both")
    return told


def placed_outlet(setup: HostSetup, host: Host, point: OutletPoint) -> PlacedOutlet | None:
    """What is behind the outlet of a host; `None` where the part in series has failed, and so has no resistance."""
    told = told_outlet(setup)
    part = f"host.{told.part}"
    if host.fault is not None and host.fault.removeprefix("host.").startswith(f"{told.part} "):
        return None
    model = OutletModel.of(host.system.assembly, part, point.ends)
    bench_C = ROOM_C if setup.bench.ambient is None else float(setup.bench.ambient)
    seed = f"{simulation_of(setup).seed}/{host.serial}"
    limiter = drawn_limiter(told, float(host.values[0, model.column]), bench_C, seed)
    at_rest = limiter.ohm(0.0) + float(told.wire)
    own = replace(host, values=model.values(host.values, at_rest), off_values=model.values(host.off_values, at_rest))
    source = HostSource(
        model,
        host.values,
        at_rest,
        host.temperature_C,
        host.points,
        _own_fuse(setup.circuit),
        least_load_ohm(float(told.lead)),
    )
    rating_A = math.inf if told.upstream is None else float(told.upstream)
    return PlacedOutlet(own, source, limiter, UpstreamFuse(rating_A), told)


def _own_fuse(circuit: CircuitFile) -> tuple[str, str, float] | None:
    """Nodes and resistance of the host's own fuse; `None` where its circuit has none."""
    for card in circuit.netlist.cards:
        part = circuit.parts.part.get(card.name)
        if part is not None and part.role == FUSE_ROLE:
            return f"host.{card.nodes[0]}", f"host.{card.nodes[1]}", card.value
    return None
