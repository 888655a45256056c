"""The demo's fixtures as the gate sees them, solved once for all tests, and what a meter would read of other boards.

Circuits are kept by what is in them, so that a fault inside a cable is joined and solved once for all tests that ask.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import cache
from typing import Any

import numpy as np
from test_circuits.demo import ROOT, circuit

from batchtest.cables import Harness, PinReading, Suspects, sign
from batchtest.cables.readings import GIVES_UP, OVER_RANGE, ColdBench, ColdCircuit, ColdReading
from batchtest.cables.signature import inside
from batchtest.cables.wiring import WiringFault, wiring_faults
from batchtest.circuits import Assembly, BenchModel, draw_values, join
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile
from batchtest.files.fixture import FixtureFile
from batchtest.files.library import Library, Setup, load_library, load_setup
from batchtest.nouns import Reading

#: Insulation between the pins of an open connector, ohm (common practice, no source): far above every range.
INSULATION_OHM = 1e10
PINS = {1: "ka", 2: "p24", 3: "kb", 4: "pos", 5: "sg", 6: "acc", 7: "n0"}


@dataclass(frozen=True)
class KeptHarness(Harness):
    """A harness that keeps the circuits with faults too; `kept` are the readings that are asked of them."""

    kept: list[ColdReading] = field(default_factory=list)

    def once(self, cable: CableFile, fault: str = "", near: ColdCircuit | None = None) -> ColdCircuit:
        """The joined circuit with any cable, one nominal board, and its pin map solved as a whole."""
        key = f"{cable.wires} {cable.id_resistor} {fault}"
        if key not in self._circuits:
            self._circuits[key] = super().once(cable, fault, near).solve(self.kept)
        return self._circuits[key]


@cache
def library() -> Library:
    """The demo's library."""
    return load_library(ROOT)


@cache
def setup(fixture: str = "vent-nest") -> Setup:
    """The demo's setup at a fixture."""
    return load_setup(ROOT, fixture, "simulated")


@cache
def suspects(fixture: str = "vent-nest") -> Suspects:
    """The demo's fixture, as `suspects_of` makes it, with circuits that are kept."""
    found = setup(fixture)
    harness = KeptHarness(found.fixture_circuit, found.board_circuit, ColdBench(found.bench, found.fixture))
    signature = sign(harness, found.cables, found.fixture.cable)
    harness.kept.extend(pin.reading for pin in signature.readings)
    return Suspects(harness, found.cables, signature)


def other_board(assembly: Assembly, fixture: FixtureFile, seed: int) -> ColdCircuit:
    """One board, host and cable that no expectation was drawn from, at some temperature from 18 to 28 C."""
    values = draw_values(assembly, [f"other {seed}"], seed=10_000 + seed)
    warm_C = 18 + 10 * np.random.default_rng(seed).random(1)
    return ColdCircuit(BenchModel.of(assembly, fixture), values, warm_C)


def with_cable(suspected: Suspects, cable: CableFile, seed: int) -> ColdCircuit:
    """Another board in a fixture, by any cable."""
    harness = suspected.harness
    return other_board(join(harness.host, cable, harness.board), harness.cold.fixture, seed)


def shown(reading: ColdReading, volts: float) -> Reading:
    """What the meter makes of a voltage across its test current: a value, or that it is over range."""
    value = volts * reading.per_volt
    over = volts >= GIVES_UP * reading.compliance_V or value > OVER_RANGE * reading.range
    return Reading(
        value=None if over else value, unit=reading.unit, beyond=reading.range if over else None, uncertainty=0.0
    )


def taken(circuit_: ColdCircuit, pins: Iterable[PinReading], sample: int = 0) -> dict[str, Reading]:
    """The readings of a pin map, by name."""
    pins = list(pins)
    circuit_.solve(pin.reading for pin in pins)
    return {pin.name: shown(pin.reading, float(circuit_.volts(pin.reading)[sample])) for pin in pins}


def lies_inside(pin: PinReading, got: Reading) -> bool:
    """Whether a reading is in its window; over range is where that is wanted."""
    return inside(pin.limit, got.value) if got.value is not None else pin.limit.upper is None


@cache
def vent_faults() -> Mapping[str, WiringFault]:
    """Every wiring fault of the vent's lead, by its name."""
    found = suspects()
    pins = len(found.harness.host.netlist.ports)
    return {fault.what: fault for fault in wiring_faults(found.cables["vent-lead"], pins)}


@cache
def read_with(fault: str) -> Mapping[str, Reading]:
    """The readings of another board in the vent's nest, by its lead with a fault inside; each fault has its own."""
    circuit_ = with_cable(suspects(), vent_faults()[fault].cable, list(vent_faults()).index(fault))
    return taken(circuit_, suspects().signature.readings)


def bare_fixture(points: Mapping[str, tuple[int, int]], **changed: Any) -> FixtureFile:
    """A fixture that reaches its feed and pins of the host end and nothing else: point -> plus and minus pin."""
    rows = {
        name: {"plus": f"host.{plus}", "minus": f"host.{minus}", "scanner": at, "contact": [200 + plus, 200 + minus]}
        for at, (name, (plus, minus)) in enumerate({"feed": (2, 7), **points}.items(), start=1)
    }
    table = {
        "takes": ["vent"],
        "cable": "vent-lead",
        "circuit": "bare",
        "discharge": {"scanner": 300, "resistor": "100 ohm"},
        "power": {"from": "supply", "into": "host.2-host.7", "soft_start": ["5 V"]},
        "points": rows,
    }
    return FixtureFile.model_validate({**table, **changed})


def open_end() -> CircuitFile:
    """Nothing behind the host end of the cable but the insulation of its pins."""
    ports = ("ka", "p24", "kb", "pos", "sg", "acc", "n0", "id")
    leaks = (f"RI{pin} {pin} n0 {INSULATION_OHM:.0f}" for pin in ports if pin != "n0")
    return circuit("\n".join(leaks), " ".join(ports))


def without_id(cable: CableFile) -> CableFile:
    """A cable whose id resistor has been taken out."""
    return cable.model_copy(update={"id_resistor": None})
