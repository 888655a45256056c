"""The demo's fixtures as the gate sees them, solved once for all tests, and readings that a meter would take of a board.

Circuits are kept by what is in them, so that a fault inside a cable is joined and solved once for all tests that ask.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache
from typing import Any

import numpy as np
import pytest
from test_circuits.demo import ROOT, circuit

from batchtest.cables import Harness, PinReading, Suspects, sign
from batchtest.cables.readings import GIVES_UP, OVER_RANGE, ColdBench, ColdCircuit, ColdReading
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
    """A harness that keeps the circuits of faulty cables too, and solves all of the pin map at once."""

    def once(self, cable: CableFile) -> ColdCircuit:
        """The joined circuit with any cable, one nominal board."""
        key = f"{cable.wires} {cable.id_resistor}"
        if key not in self._circuits:
            self._circuits[key] = super().once(cable)
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
    return Suspects(harness, found.cables, sign(harness, found.cables, found.fixture.cable))


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


def bare_fixture(points: Mapping[str, tuple[int, int]], contact_limit: str = "5 ohm") -> FixtureFile:
    """A fixture that reaches pins of the host end and nothing else: point -> plus and minus pin."""
    rows: dict[str, Any] = {
        name: {
            "plus": f"host.{plus}",
            "minus": f"host.{minus}",
            "scanner": number,
            "contact": [200 + plus, 200 + minus],
        }
        for number, (name, (plus, minus)) in enumerate(points.items(), start=1)
    }
    return FixtureFile.model_validate(
        {
            "takes": ["vent"],
            "cable": "vent-lead",
            "circuit": "bare",
            "contact_limit": contact_limit,
            "discharge": {"scanner": 300, "resistor": "100 ohm"},
            "power": {"from": "supply", "into": "host.2-host.7", "soft_start": ["5 V"]},
            "points": {"feed": {"plus": "host.2", "minus": "host.7", "scanner": 301, "contact": [202, 207]}, **rows},
        }
    )


def open_end() -> CircuitFile:
    """Nothing behind the host end of the cable but the insulation of its pins."""
    leaks = "\n".join(f"RI{pin} {pin} n0 {INSULATION_OHM:.0f}" for pin in "ka p24 kb pos sg acc id".split())
    return circuit(leaks, "ka p24 kb pos sg acc n0 id")


def without_id(cable: CableFile) -> CableFile:
    """A cable whose id resistor has been taken out."""
    return cable.model_copy(update={"id_resistor": None})


@contextmanager
def kept_part_faults() -> Iterator[None]:
    """Circuits with a failed part are kept by the name of their fault; for one fixture at a time."""
    kept: dict[tuple[str, ...], ColdCircuit] = {}
    make: Callable[[Assembly, FixtureFile], ColdCircuit] = ColdCircuit.nominal

    def nominal(assembly: Assembly, fixture: FixtureFile) -> ColdCircuit:
        if assembly.faults not in kept or not assembly.faults:
            kept[assembly.faults] = make(assembly, fixture)
        return kept[assembly.faults]

    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(ColdCircuit, "nominal", nominal)
        yield
