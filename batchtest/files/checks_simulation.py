"""What the `[simulation]` of a bench names: fixtures, cables, and faults of parts that must be there."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from batchtest.errors import Fault, nearest
from batchtest.files.bench import BenchFile, Simulation
from batchtest.files.checks_fixture import ReachedT
from batchtest.files.circuit import CircuitFile
from batchtest.files.host_fixture import HostFixtureFile, harness_fault
from batchtest.files.parts import MODES
from batchtest.files.positions import Key
from batchtest.files.read import Document

_FAULT = re.compile(r"(?:(?P<unit>board|host)\.)?(?P<part>[A-Za-z0-9_]+) (?P<mode>[a-z-]+)")


def simulated_names(bench: Document[BenchFile], fixtures: Sequence[str], cables: Sequence[str]) -> Iterator[Fault]:
    """A simulated fixture or cable that is not there."""
    simulation = bench.model.simulation
    if simulation is None:
        return
    if simulation.fixture not in fixtures:
        wrong = f"there is no fixture {simulation.fixture!r}; {nearest(simulation.fixture, fixtures)}"
        yield bench.fault(("simulation", "fixture"), wrong)
    if simulation.cable is not None and simulation.cable not in cables:
        wrong = f"there is no cable {simulation.cable!r}; {nearest(simulation.cable, cables)}"
        yield bench.fault(("simulation", "cable"), wrong)


def simulated_faults(
    bench: Document[BenchFile], simulation: Simulation, board: CircuitFile, host: CircuitFile
) -> Iterator[Fault]:
    """Faults of parts that are in no circuit, or that such a part cannot have."""
    named: list[tuple[Key, str]] = [
        *((("simulation", "faults", index), fault) for index, fault in enumerate(simulation.faults)),
        *((("simulation", "boards", serial), fault) for serial, fault in simulation.boards.items() if fault),
    ]
    for key, fault in named:
        wrong = _wrong_fault(fault, {"board": board, "host": host})
        if wrong:
            yield bench.fault(key, wrong)


def simulated_hosts(
    bench: Document[BenchFile], simulation: Simulation, fixture: HostFixtureFile, host: CircuitFile
) -> Iterator[Fault]:
    """Faults of hosts of one fixture that their circuit, or its connector, cannot have."""
    pins = len(host.netlist.ports)
    for serial, fault in simulation.hosts.items():
        if not fault or re.fullmatch(fixture.serials, serial) is None:
            continue
        harness, wrong = harness_fault(fault), None
        if fault.startswith("board."):
            wrong = f"{fault!r} is a board's, and nothing is mated to a host; name a part of {host.name}"
        elif harness is None:
            wrong = _wrong_fault(fault, {"board": host, "host": host})
        elif max(harness.pins) > pins:
            wrong = f"there is no pin {max(harness.pins)} in the connector of {host.name}; it has {pins}"
        if wrong:
            yield bench.fault(("simulation", "hosts", serial), wrong)


def simulated_outlet(bench: Document[BenchFile], simulation: Simulation, host: CircuitFile) -> Iterator[Fault]:
    """A part in series with the outlet that is no resistor of the host's circuit."""
    part = simulation.outlet.part if simulation.outlet else None
    resistors = [card.name for card in host.netlist.cards if card.kind == "R"]
    if part is not None and part not in resistors:
        wrong = f"there is no resistor {part!r} in {host.name}; {nearest(part, resistors)}"
        yield bench.fault(("simulation", "outlet", "part"), wrong)


def simulated_needles(
    bench: Document[BenchFile], simulation: Simulation, fixture: Document[ReachedT]
) -> Iterator[Fault]:
    """Open needles at terminals that no point of the fixture uses."""
    points = fixture.model.points.values()
    terminals = sorted({terminal for point in points for terminal in (point.plus, point.minus)})
    for index, needle in enumerate(simulation.open_needles):
        if needle not in terminals:
            wrong = f"no point of {fixture.file} uses {needle!r}; {nearest(needle, terminals)}"
            yield bench.fault(("simulation", "open_needles", index), wrong)


def _wrong_fault(fault: str, circuits: dict[str, CircuitFile]) -> str | None:
    """Say why a fault such as "DZ12 short" or "host.DS1 open" cannot be; `None` where it can."""
    match = _FAULT.fullmatch(fault)
    if match is None:
        return f"{fault!r} is no part and how it fails; write such as 'R5B open'"
    circuit = circuits[match["unit"] or "board"]
    kinds = {card.name: card.kind for card in circuit.netlist.cards}
    if match["part"] not in kinds:
        return f"{circuit.name} has no part {match['part']!r}; {nearest(match['part'], list(kinds))}"
    modes = MODES[kinds[match["part"]]]
    if match["mode"] not in modes:
        return f"{match['part']} cannot be {match['mode']!r}; write one of {', '.join(modes)}"
    return None
