"""The files with which a live host is mapped: its fixture in `fixtures/hosts/`, its circuit, a bench."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from batchtest.errors import Fault, FileFaults, SetupError, nearest
from batchtest.files.bench import BenchFile, Simulation
from batchtest.files.checks_fixture import channels_against_bench
from batchtest.files.checks_simulation import simulated_hosts, simulated_names, simulated_needles, simulated_outlet
from batchtest.files.circuit import CircuitFile
from batchtest.files.host_fixture import HostFixtureFile, pin_of
from batchtest.files.library import bench_names, cable_names, fixture_names, host_fixture_names
from batchtest.files.read import Document
from batchtest.files.reading import Reading

#: The pin against which every other one is read: the return of the host's source, ground of its circuit.
RETURN = "n0"


@dataclass(frozen=True, slots=True)
class HostSetup:
    """Everything that a live host is mapped with, read and checked.

    `hashes`: file, from the root, -> SHA-256 of its bytes.
    """

    root: Path
    fixture_name: str
    bench_name: str
    fixture: HostFixtureFile
    bench: BenchFile
    circuit: CircuitFile
    hashes: Mapping[str, str]

    @property
    def host(self) -> str:
        """Name of the host's circuit."""
        return self.fixture.host

    @property
    def pins(self) -> int:
        """How many pins the host's connector has."""
        return len(self.circuit.netlist.ports)

    @property
    def return_pin(self) -> int:
        """The pin of the host's return, counted from 1."""
        return self.circuit.netlist.ports.index(RETURN) + 1


def load_host_setup(root: Path, fixture: str, bench: str) -> HostSetup:
    """Read everything that a live host is mapped with, and check it as a whole.

    Parameters
    ----------
    root : the project's folder.
    fixture, bench : names of files without ending, the first in `fixtures/hosts/`.

    Raises
    ------
    SetupError : no such fixture or bench; says the nearest name, or that it is a fixture for boards.
    FileFaults : every fault of every file at once.
    """
    _require(root, fixture, bench)
    reading = Reading(root)
    found = reading.table(root / "fixtures" / "hosts" / f"{fixture}.toml", HostFixtureFile)
    table = reading.table(root / "fixtures" / "benches" / f"{bench}.toml", BenchFile)
    circuit = _circuit(reading, found)
    reading.check(channels_against_bench, found, table)
    reading.check(host_fixture_against_circuit, found, circuit)
    reading.check(simulated_names, table, fixture_names(root), cable_names(root))
    simulation = table.model.simulation if table else None
    reading.check(_simulated, table, simulation, found, circuit)
    if reading.faults or found is None or table is None or circuit is None:
        raise FileFaults(reading.faults)
    return HostSetup(root, fixture, bench, found.model, table.model, circuit, reading.hashes)


def host_fixture_against_circuit(fixture: Document[HostFixtureFile], host: CircuitFile) -> Iterator[Fault]:
    """Pins that the connector does not have, and pins that no point reads: "nothing on it" is a measurement too."""
    ports = host.netlist.ports
    if RETURN not in ports:
        yield fixture.fault(
            ("host",), f"{host.name} has no pin {RETURN!r} to read the others against; name its return so"
        )
        return
    back = ports.index(RETURN) + 1
    read: set[int] = set()
    for name, point in fixture.model.points.items():
        ends = {"plus": pin_of(point.plus), "minus": pin_of(point.minus)}
        for end, pin in ends.items():
            if pin > len(ports):
                wrong = f"there is no pin {pin} in the connector of {host.name}; it has {len(ports)}"
                yield fixture.fault(("points", name, end), wrong)
        read |= set(ends.values()) if back in ends.values() else set()
    for pin, port in enumerate(ports, start=1):
        if pin not in read and pin != back:
            wrong = f"no point reads pin {pin} ({port}) of {host.name} against pin {back} ({RETURN})"
            yield fixture.fault(("points",), f'{wrong}; add one with plus = "host.{pin}" and minus = "host.{back}"')


def _simulated(
    bench: Document[BenchFile], simulation: Simulation, fixture: Document[HostFixtureFile], circuit: CircuitFile
) -> Iterator[Fault]:
    yield from simulated_hosts(bench, simulation, fixture.model, circuit)
    yield from simulated_outlet(bench, simulation, circuit)
    if any(needle.startswith("host.") for needle in simulation.open_needles):
        yield from simulated_needles(bench, simulation, fixture)


def _require(root: Path, fixture: str, bench: str) -> None:
    known = host_fixture_names(root)
    if fixture not in known and fixture in fixture_names(root):
        raise SetupError(f"fixture {fixture!r} is for boards, and no host's: batchtest boards {fixture}")
    if fixture not in known:
        raise SetupError(f"no fixture {fixture!r} in fixtures/hosts/; {nearest(fixture, known)}")
    if bench not in bench_names(root):
        raise SetupError(f"no bench {bench!r}; {nearest(bench, bench_names(root))}")


def _circuit(reading: Reading, fixture: Document[HostFixtureFile] | None) -> CircuitFile | None:
    """The host's circuit; a name without a file is a fault of the fixture."""
    if fixture is None:
        return None
    name, known = fixture.model.host, sorted(path.stem for path in _circuits(reading.root))
    if name not in known:
        wrong = f"there is no {name!r} in fixtures/circuits/; {nearest(name, known)}"
        reading.faults.append(fixture.fault(("host",), wrong))
        return None
    return reading.circuit(name)


def _circuits(root: Path) -> Iterator[Path]:
    return (root / "fixtures" / "circuits").glob("*.cir")
