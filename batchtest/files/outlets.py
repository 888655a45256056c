"""The files with which an outlet is load-tested: its own in `fixtures/outlets/`, its limits, its host's, a bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from decimal import Decimal
from pathlib import Path

from batchtest.errors import Fault, FileFaults, SetupError, nearest
from batchtest.files.bench import BenchFile
from batchtest.files.circuit import CircuitFile
from batchtest.files.host_fixture import HostFixtureFile
from batchtest.files.hosts import HostSetup, load_host_setup
from batchtest.files.library import board_names, host_fixture_names, outlet_names
from batchtest.files.limits_outlet import OutletLimits
from batchtest.files.outlet import OutletFile
from batchtest.files.read import Document
from batchtest.files.reading import Reading
from batchtest.quantities import write


@dataclass(frozen=True, slots=True)
class OutletSetup:
    """Everything that an outlet is load-tested with, read and checked.

    `host` is its host's, whose point at the outlet has the load channel. `hashes`: file, from the root, -> SHA-256.
    """

    root: Path
    fixture_name: str
    bench_name: str
    outlet: OutletFile
    limits: OutletLimits
    host: HostSetup
    hashes: Mapping[str, str]

    @property
    def bench(self) -> BenchFile:
        """The bench."""
        return self.host.bench

    @property
    def fixture(self) -> HostFixtureFile:
        """The break-out plug, with the load channel at the outlet."""
        return self.host.fixture

    @property
    def circuit(self) -> CircuitFile:
        """The host's circuit."""
        return self.host.circuit


def load_outlet_setup(root: Path, fixture: str, bench: str) -> OutletSetup:
    """Read everything that an outlet is load-tested with, and check it as a whole.

    Parameters
    ----------
    root : the project's folder.
    fixture, bench : names of files without ending, the first in `fixtures/outlets/`.

    Raises
    ------
    SetupError : no such outlet or bench; says the nearest name, or whose fixture it is.
    FileFaults : every fault of every file at once.
    """
    _require(root, fixture)
    reading = Reading(root)
    found = reading.table(root / "fixtures" / "outlets" / f"{fixture}.toml", OutletFile)
    limits = reading.table(root / "limits" / f"{fixture}.toml", OutletLimits)
    host = _host(reading, found, bench)
    reading.check(_limits_against_outlet, limits, found, fixture)
    reading.check(_outlet_against_host, found, host)
    reading.check(_outlet_against_bench, found, host)
    if reading.faults or found is None or limits is None or host is None:
        raise FileFaults(reading.faults)
    own = replace(host, fixture=_loaded(host.fixture, found.model), bench=_simulated(host.bench, found.model))
    return OutletSetup(root, fixture, bench, found.model, limits.model, own, {**host.hashes, **reading.hashes})


def lowest_rating(outlet: OutletFile) -> tuple[str, Decimal]:
    """The lowest of an outlet's ratings, by its key: what no test may pass, A."""
    ratings = {key: getattr(outlet.ratings, key) for key in ("upstream_fuse", "connector", "wire")}
    key = min(ratings, key=lambda each: ratings[each])
    return key, ratings[key]


def _require(root: Path, fixture: str) -> None:
    known = outlet_names(root)
    if fixture not in known and fixture in host_fixture_names(root):
        raise SetupError(f"fixture {fixture!r} is a host's break-out plug, and no outlet: batchtest host {fixture}")
    if fixture not in known and fixture in board_names(root):
        raise SetupError(f"{fixture!r} is a board, and no outlet: batchtest boards")
    if fixture not in known:
        raise SetupError(f"no outlet {fixture!r} in fixtures/outlets/; {nearest(fixture, known)}")


def _host(reading: Reading, outlet: Document[OutletFile] | None, bench: str) -> HostSetup | None:
    """The host's own setup; its faults join the others, and a name without a file is a fault of the outlet."""
    if outlet is None:
        return None
    name, known = outlet.model.host, host_fixture_names(reading.root)
    if name not in known:
        reading.faults.append(
            outlet.fault(("host",), f"there is no {name!r} in fixtures/hosts/; {nearest(name, known)}")
        )
        return None
    try:
        return load_host_setup(reading.root, name, bench)
    except FileFaults as error:
        reading.faults += error.faults
        return None


def _limits_against_outlet(limits: Document[OutletLimits], outlet: Document[OutletFile], name: str) -> Iterator[Fault]:
    if limits.model.outlet != name:
        yield limits.fault(("outlet",), f"is {limits.model.outlet!r} in the file of {name!r}; write {name!r}")
    if limits.model.fuse is not None and outlet.model.fuse is None:
        yield limits.fault(("fuse",), f"is for a resettable fuse, and {outlet.file} has none; leave it out")


def _outlet_against_host(outlet: Document[OutletFile], host: HostSetup) -> Iterator[Fault]:
    """A point that the plug does not have, or that is loaded already; a part that the circuit does not have."""
    points, parts = host.fixture.points, host.circuit.parts.part
    model = outlet.model
    if model.point not in points:
        wrong = f"there is no point {model.point!r} in {host.fixture_name}; {nearest(model.point, list(points))}"
        yield outlet.fault(("point",), wrong)
    taken = {point.load: name for name, point in points.items() if point.load is not None and name != model.point}
    if model.load in taken:
        wrong = f"channel {model.load} draws from {taken[model.load]} in {host.fixture_name}; take another"
        yield outlet.fault(("load",), wrong)
    if model.part not in parts:
        yield outlet.fault(
            ("part",), f"there is no part {model.part!r} in {host.host}; {nearest(model.part, list(parts))}"
        )


def _outlet_against_bench(outlet: Document[OutletFile], host: HostSetup) -> Iterator[Fault]:
    """Currents that the load cannot draw, that a rating forbids, or that a fuse need not hold."""
    model, bench = outlet.model, host.bench
    if model.load > bench.load.channels:
        yield outlet.fault(
            ("load",), f"there is no load channel {model.load}; the bench's load has {bench.load.channels}"
        )
    key, lowest = lowest_rating(model)
    last, top = len(model.sweep.currents) - 1, model.sweep.currents[-1]
    if top > lowest:
        wrong = f"{write(top, 'A')} is above ratings.{key}, {write(lowest, 'A')}; lower it"
        yield outlet.fault(("sweep", "currents", last), wrong)
    if model.fuse is not None and top > model.fuse.hold:
        wrong = f"{write(top, 'A')} is above the fuse's hold, {write(model.fuse.hold, 'A')}"
        yield outlet.fault(("sweep", "currents", last), f"{wrong}: a sweep must not trip it; lower it")
    range_ = bench.load.accuracy.current[-1].range
    if top > range_:
        wrong = f"{write(top, 'A')} is above the load's largest range, {write(range_, 'A')}; lower it"
        yield outlet.fault(("sweep", "currents", last), wrong)
    yield from _trip_against_bench(outlet, bench, range_)


def _trip_against_bench(outlet: Document[OutletFile], bench: BenchFile, load_A: Decimal) -> Iterator[Fault]:
    fuse, trip = outlet.model.fuse, outlet.model.trip
    if fuse is None or trip is None:
        return
    most = min(load_A, bench.supply.accuracy.current[-1].range)
    current = trip.multiple * fuse.hold
    if current > most:
        wrong = f"is {trip.multiple} times {write(fuse.hold, 'A')}, {write(current, 'A')}: load and supply reach"
        yield outlet.fault(("trip", "multiple"), f"{wrong} {write(most, 'A')}; lower it")
    if trip.volts > min(fuse.v_max, bench.supply.protection.voltage):
        wrong = f"{write(trip.volts, 'V')} is above the fuse's v_max or the supply's protection; lower it"
        yield outlet.fault(("trip", "volts"), wrong)


def _loaded(fixture: HostFixtureFile, outlet: OutletFile) -> HostFixtureFile:
    """The break-out plug with the load across the outlet."""
    point = fixture.points[outlet.point].model_copy(update={"load": outlet.load})
    return fixture.model_copy(update={"points": {**fixture.points, outlet.point: point}})


def _simulated(bench: BenchFile, outlet: OutletFile) -> BenchFile:
    """A simulated host has in it what the outlet's file says, where the bench does not say otherwise."""
    from batchtest.files.simulation import SimulatedOutlet

    simulation = bench.simulation
    if simulation is None:
        return bench
    asked = simulation.outlet or SimulatedOutlet()
    fitted = "resistor" if outlet.fuse is None else "fuse"
    filled = asked.model_copy(update={"variant": asked.variant or fitted, "part": asked.part or outlet.part})
    return bench.model_copy(update={"simulation": simulation.model_copy(update={"outlet": filled})})
