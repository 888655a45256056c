"""The hosts that may be behind the break-out plug: parts by serial, mains and warmth of their own, a fault perhaps."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import lru_cache
from hashlib import blake2b
from random import Random

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits import Assembly, Drive, LimitedSource, Solution, System, alone, draw_values, with_fault
from batchtest.circuits.bench_model import LOAD_OHM, METER_OHM
from batchtest.circuits.elements import Element
from batchtest.errors import NoOperatingPoint
from batchtest.files.host_fixture import HarnessFault, harness_fault
from batchtest.files.hosts import HostSetup
from batchtest.procedure.host_model import METER, at_mains
from batchtest.procedure.pin_windows import COLDEST_C, WARMEST_C
from batchtest.simulated.board import Operating
from batchtest.simulated.boards import simulation_of

Floats = NDArray[np.float64]

#: What two pins that touch each other have between them, ohm.
TOUCH_OHM = 0.1

State = tuple[bool, tuple[tuple[int, float], ...]]


@dataclass(slots=True)
class Host:
    """One host with its own parts. Operating points are solved once and kept.

    `values` are its parts as the mains feed them today, at `mains` of their voltage; `points` are point -> plus and
    minus terminal.
    """

    serial: str
    fault: str | None
    system: System
    values: Floats
    off_values: Floats
    mains: float
    temperature_C: float
    points: Mapping[str, tuple[str, str]]
    settle_s: Mapping[str, float]
    bleed_s: Mapping[str, float]
    _known: dict[State, Operating] = field(default_factory=dict)

    def operating(self, loads: Mapping[int, float], *, live: bool) -> Operating:
        """Where its points settle: each as the meter shows it that lies across it alone; load channels draw (A).

        A host that is off settles at nothing.
        """
        state = live, tuple(sorted(loads.items()))
        if state not in self._known:
            self._known[state] = self._solved(loads) if live else self._dead(loads)
        return self._known[state]

    def cold(self, point: str, current_A: float, compliance_V: float, *, live: bool) -> float:
        """Voltage at a point with the meter's test current on, V; its compliance where the current gives up."""
        drive = Drive(compliance_V, METER_OHM, 0.0, current_A)
        try:
            solution = self._solve({f"meter.{point}": drive}, None, live=live)
        except NoOperatingPoint:
            return compliance_V
        return float(solution.between(*self.points[point])[0])

    def _solved(self, loads: Mapping[int, float]) -> Operating:
        drawn = {f"load.{channel}": Drive(0.0, LOAD_OHM, -amperes, 0.0) for channel, amperes in loads.items()}
        volts: dict[str, float] = {}
        solution: Solution | None = None
        try:
            for point, ends in self.points.items():
                solution = self._solve({f"meter.{point}": METER, **drawn}, solution, live=True)
                volts[point] = float(solution.between(*ends)[0])
        except NoOperatingPoint as error:
            return replace(self._dead(loads), unsolved=str(error))
        assert solution is not None, "a fixture has a point at least"
        return Operating(volts, 0.0, {channel: -float(solution.source_A(f"load.{channel}")[0]) for channel in loads})

    def _solve(self, drives: Mapping[str, Drive], start: Solution | None, *, live: bool) -> Solution:
        values = self.values if live else self.off_values
        return self.system.solve(values, drives, start, temperature_C=self.temperature_C)

    def _dead(self, loads: Mapping[int, float]) -> Operating:
        return Operating(dict.fromkeys(self.points, 0.0), 0.0, dict.fromkeys(loads, 0.0))


class HostStock:
    """All hosts that there could be, by serial; the last few are kept. A serial always gives the same host.

    Raises
    ------
    SetupError : the bench has real instruments; or, by `host`, a fault that the circuit cannot have.
    """

    _KEPT = 16

    def __init__(self, setup: HostSetup) -> None:
        self._setup = setup
        self._simulation = simulation_of(setup)
        self._good = alone(setup.circuit)
        self.host = lru_cache(self._KEPT)(self._host)

    def _host(self, serial: str) -> Host:
        fault = self._simulation.hosts.get(serial) or None
        assembly = self._good if fault is None else _failed(self._good, fault)
        seed = f"{self._simulation.seed}/{serial}"
        random, off = Random(f"{seed}/host"), float(self._setup.fixture.mains.within)
        drawn = draw_values(assembly, [serial], seed=_number(seed))
        share, points = random.uniform(1 - off, 1 + off), self._points()
        return Host(
            serial=serial,
            fault=fault,
            system=self._system(assembly, points),
            values=at_mains(assembly, self._setup.circuit, drawn, share),
            off_values=at_mains(assembly, self._setup.circuit, drawn, 0.0),
            mains=share,
            temperature_C=random.uniform(COLDEST_C, WARMEST_C),
            points=points,
            settle_s={name: max(map(assembly.settle_s, ends)) for name, ends in points.items()},
            bleed_s={name: max(map(assembly.bleed_s, ends)) for name, ends in points.items()},
        )

    def _points(self) -> dict[str, tuple[str, str]]:
        return {name: (point.plus, point.minus) for name, point in self._setup.fixture.points.items()}

    def _system(self, assembly: Assembly, points: Mapping[str, tuple[str, str]]) -> System:
        """The circuit with the meter's input at each point, and a load channel where the fixture has one."""
        sources = [LimitedSource(f"meter.{name}", *ends) for name, ends in points.items()]
        for name, point in self._setup.fixture.points.items():
            if point.load is not None:
                sources.append(LimitedSource(f"load.{point.load}", *points[name]))
        return System(assembly, sources)


def _failed(assembly: Assembly, fault: str) -> Assembly:
    """A part that has failed, or pins that the harness mixes up."""
    harness = harness_fault(fault)
    if harness is None:
        return with_fault(assembly, fault if fault.startswith("host.") else f"host.{fault}")
    return _mixed_up(assembly, harness)


def _mixed_up(assembly: Assembly, fault: HarnessFault) -> Assembly:
    one, other = (f"host.{pin}" for pin in fault.pins)
    ends = assembly.terminals[one], assembly.terminals[other]
    if fault.kind == "swapped":
        return replace(assembly, terminals={**assembly.terminals, one: ends[1], other: ends[0]})
    touch = Element("host.touch", "R", (ends[0].node, ends[1].node), {"value": TOUCH_OHM})
    return assembly.with_elements([*assembly.elements, touch], f"{one} and {other} joined")


def _number(seed: str) -> int:
    """A number that follows from a text alone: the parts of a host follow from the seed they are drawn with."""
    return int.from_bytes(blake2b(seed.encode(), digest_size=6).digest())
