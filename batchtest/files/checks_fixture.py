"""What a fixture and its cable say against the bench, the circuits and each other."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TypeVar

from batchtest.errors import Fault, nearest
from batchtest.files.bench import BenchFile
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile
from batchtest.files.fixture import FixtureFile, scanner_uses
from batchtest.files.host_fixture import HostFixtureFile
from batchtest.files.positions import Key
from batchtest.files.read import Document
from batchtest.quantities import write

ReachedT = TypeVar("ReachedT", FixtureFile, HostFixtureFile)


def fixture_against_bench(fixture: Document[FixtureFile], bench: Document[BenchFile]) -> Iterator[Fault]:
    """Channels that cannot be, and soft-start steps beyond the supply."""
    yield from channels_against_bench(fixture, bench)
    yield from _steps_too_high(fixture, bench)


def channels_against_bench(fixture: Document[ReachedT], bench: Document[BenchFile]) -> Iterator[Fault]:
    """Load channels the load does not have, and the scanner channels of reference and interlock."""
    channels = bench.model.load.channels
    for name, point in fixture.model.points.items():
        if point.load is not None and point.load > channels:
            wrong = f"there is no load channel {point.load} in {bench.file}; its load has {channels}"
            yield fixture.fault(("points", name, "load"), wrong)
    interlock = bench.model.interlock
    for key, channel, _ in scanner_uses(fixture.model):
        if channel == bench.model.reference.scanner:
            yield fixture.fault(key, f"channel {channel} is the reference's in {bench.file}; take another")
        if interlock is not None and channel == interlock.scanner:
            yield fixture.fault(key, f"channel {channel} is the interlock's in {bench.file}; take another")


def fixture_against_cable(
    fixture: Document[FixtureFile], cable: Document[CableFile], board: str | None
) -> Iterator[Fault]:
    """A cable that is not for the board, or whose id resistor the identify point does not see."""
    if board is not None and board not in cable.model.takes:
        takes = ", ".join(cable.model.takes)
        wrong = f"{cable.file} takes {takes}, not {board}; name another cable, or add {board!r} to its takes"
        yield fixture.fault(("cable",), wrong)
    resistor = cable.model.id_resistor
    if fixture.model.identify is None:
        if resistor is not None:
            pins = " and ".join(f"host.{pin}" for pin in resistor.pins)
            wrong = f"is missing, though {cable.file} has an id resistor across {pins}"
            yield fixture.fault(("identify",), f'{wrong}; add the point that lies across it, such as identify = "id"')
        return
    point = fixture.model.points[fixture.model.identify]
    if resistor is None:
        yield fixture.fault(
            ("identify",), f"{cable.file} has no [id_resistor]; fit one and write it there, or leave identify out"
        )
    elif {point.plus, point.minus} != {f"host.{pin}" for pin in resistor.pins}:
        pins = " and ".join(f"host.{pin}" for pin in resistor.pins)
        wrong = f"point {fixture.model.identify!r} lies across {point.plus} and {point.minus}"
        yield fixture.fault(("identify",), f"{wrong}, the id resistor in {cable.file} across {pins}; make them agree")


def fixture_against_circuits(fixture: Document[FixtureFile], board: CircuitFile, host: CircuitFile) -> Iterator[Fault]:
    """Terminals that are neither a test point of the board nor a pin of the cable's host end."""
    reachable = (name for name, probe in board.parts.probe.items() if probe.reach == "testpoint")
    known = [*reachable, *(f"host.{pin}" for pin in range(1, len(host.netlist.ports) + 1))]
    for name, point in fixture.model.points.items():
        for end, terminal in (("plus", point.plus), ("minus", point.minus)):
            if terminal not in known:
                wrong = (
                    f"{terminal!r} is no test point of {board.name} that a needle reaches, and no pin of the host end"
                )
                yield fixture.fault(("points", name, end), f"{wrong}; {nearest(terminal, known)}")


def cable_against_circuits(cable: Document[CableFile], board: CircuitFile, host: CircuitFile) -> Iterator[Fault]:
    """Wires and an id resistor at pins that the connectors do not have."""
    for index, wire in enumerate(cable.model.wires):
        for end, pin, circuit in (("board", wire.board, board), ("host", wire.host, host)):
            yield from _no_pin(cable, ("wires", index, end), pin, circuit)
    if cable.model.id_resistor is not None:
        for index, pin in enumerate(cable.model.id_resistor.pins):
            yield from _no_pin(cable, ("id_resistor", "pins", index), pin, host)


def _no_pin(cable: Document[CableFile], key: Key, pin: int, circuit: CircuitFile) -> Iterator[Fault]:
    count = len(circuit.netlist.ports)
    if pin > count:
        yield cable.fault(key, f"there is no pin {pin} in the connector of {circuit.name}; it has {count}")


def _steps_too_high(fixture: Document[FixtureFile], bench: Document[BenchFile]) -> Iterator[Fault]:
    supply = bench.model.supply
    protection, range_ = supply.protection.voltage, supply.accuracy.voltage[-1].range
    for index, volts in enumerate(fixture.model.power.soft_start):
        key: Key = ("power", "soft_start", index)
        if volts >= protection:
            wrong = f"{write(volts, 'V')} would trip the supply's protection, {write(protection, 'V')} in {bench.file}"
            yield fixture.fault(key, f"{wrong}; stay below it")
        elif volts > range_:
            wrong = f"{write(volts, 'V')} is beyond the supply's largest range, {write(range_, 'V')} in {bench.file}"
            yield fixture.fault(key, f"{wrong}; stay at or below it")
