"""How fast and how right operating points are: `python tests/benchmarks/solver.py [--json]`.

Two circuits: a vent board in its nest on its lead (three load channels and the supply driven), and the same board on
the drive cabinet (cabinet, lead and board joined, one load channel driven). Wall time by `time.perf_counter`, one
process, nothing pinned:

- `warm_ms`: median of 300 points, the load stepped each time, each point started from the one before.
- `cold_ms`: median of 100 points of the same steps, each without a start.
- `monte_carlo_5000_s`: 5,000 boards drawn from their tolerances, solved in one call without a start; drawing them is
  not counted.
- `cold_readings_s`: every point of the nest's fixture file, read by the ohms source for 64 drawn boards at 18 to 28 C,
  with each of the three cables; joining and preparing the circuits is counted, drawing is not. `cold_readings` counts.
- `worst_difference_V`: largest difference of any node from ngspice (shared library, reltol 1e-7, gmin 1e-12, rshunt
  1e12) over the load points and every single fault of every part and wire, nodes held by leakage included; null with
  `why_null` where the library is missing. `cases` counts them, `without_reference` those where ngspice finds no point.
- `worst_difference_18_28_C_V`: the same over the load points alone, at 18 and at 28 C.
"""

from __future__ import annotations

import argparse
import json
import statistics
import sys
import time
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from test_circuits import ngspice
from test_circuits.demo import LOAD_POINTS, ROOT, bench_model, demo_cable, demo_circuit, joined

from batchtest.circuits import (
    BenchModel,
    Drive,
    LimitedSource,
    Solution,
    System,
    draw_values,
    join,
    nominal_values,
    with_fault,
)
from batchtest.circuits.faults import fault_modes
from batchtest.files.library import load_setup

WARM, COLD, BOARDS = 300, 100, 5000
LARGEST_A = 0.04
CABLES, COLD_BOARDS, COLD_A, COMPLIANCE_V = ("vent-lead", "mist-lead", "long-lead"), 64, 1e-4, 10.0


@dataclass(frozen=True)
class Case:
    """A circuit to be measured: its name and how a load current drives it."""

    name: str
    system: System

    def drives(self, amperes: float) -> dict[str, Drive]:
        """Settings with every load channel drawing the same current; the supply on where there is one."""
        sinks = [source.name for source in self.system.sources if source.name.startswith("load.")]
        drives = {name: Drive(0.0, 0.05, -amperes, 0.0) for name in sinks}
        if any(source.name == "supply" for source in self.system.sources):
            drives["supply"] = Drive(24.0, 0.02, 0.0, 1.0)
        return drives

    def solve(self, values: np.ndarray, amperes: float, start: Solution | None = None) -> Solution:
        """One call of the solver."""
        return self.system.solve(values, self.drives(amperes), start)


def cases() -> Iterator[Case]:
    """The two circuits."""
    yield Case("nest", bench_model().system)
    load = LimitedSource("load.2", "TP3", "TP1")
    yield Case("cabinet", System(joined("cabinet", "vent-lead", "vent"), [load]))


def stepped(count: int) -> list[float]:
    """Load currents that jump about, A."""
    return [LARGEST_A * (number * 7 % 20) / 20 for number in range(count)]


def warm_ms(case: Case) -> float:
    """Median time of a point that starts from the one before."""
    values = nominal_values(case.system.assembly)
    last, times = case.solve(values, 0.0), []
    for amperes in stepped(WARM):
        begin = time.perf_counter()
        last = case.solve(values, amperes, last)
        times.append(time.perf_counter() - begin)
    return statistics.median(times) * 1e3


def cold_ms(case: Case) -> float:
    """Median time of a point without a start."""
    values = nominal_values(case.system.assembly)
    times = []
    for amperes in stepped(COLD):
        begin = time.perf_counter()
        case.solve(values, amperes)
        times.append(time.perf_counter() - begin)
    return statistics.median(times) * 1e3


def monte_carlo_s(case: Case) -> float:
    """Time for all drawn boards at half load."""
    values = draw_values(case.system.assembly, [f"VN-{number:04}" for number in range(BOARDS)], seed=1)
    begin = time.perf_counter()
    case.solve(values, LARGEST_A / 2)
    return time.perf_counter() - begin


def cold_readings() -> dict[str, float | int | str | None]:
    """Time for every point of the nest's fixture, with each cable and all boards."""
    fixture = load_setup(ROOT, "vent-nest", "simulated").fixture
    serials = [f"VN-{number:04}" for number in range(COLD_BOARDS)]
    each_C = np.linspace(18.0, 28.0, COLD_BOARDS)
    rows = [(point, COLD_A, COMPLIANCE_V) for point in fixture.points]
    elapsed_s = 0.0
    for cable in CABLES:
        values = draw_values(joined("vent-nest", cable, "vent"), serials, seed=1)
        begin = time.perf_counter()
        assembly = join(demo_circuit("vent-nest"), demo_cable(cable), demo_circuit("vent"))
        BenchModel.of(assembly, fixture).cold_all(values, rows, each_C)
        elapsed_s += time.perf_counter() - begin
    return {"cold_readings_s": elapsed_s, "cold_readings": len(CABLES) * len(rows) * COLD_BOARDS}


def difference_at(case: Case, temperatures_C: tuple[float, ...]) -> float | None:
    """Largest difference from ngspice over the load points at some temperatures, V."""
    if ngspice.library() is None:
        return None
    assembly, values, worst_V = case.system.assembly, nominal_values(case.system.assembly), 0.0
    for temperature_C in temperatures_C:
        for index in range(len(LOAD_POINTS)):
            drives = case.drives(LARGEST_A * index / 2)
            expected = ngspice.voltages(assembly, values[0], case.system.sources, drives, temperature_C)
            solution = case.system.solve(values, drives, temperature_C=temperature_C)
            for node, volts in (expected or {}).items():
                worst_V = max(worst_V, abs(volts - float(solution.voltage(node)[0])))
    return worst_V


def difference(case: Case) -> dict[str, float | int | str | None]:
    """Largest difference from ngspice over load points and single faults."""
    if ngspice.library() is None:
        return {"worst_difference_V": None, "why_null": f"{ngspice.LIBRARY} is not installed"}
    assembly = case.system.assembly
    tried = [(assembly, LARGEST_A * index / 2) for index in range(len(LOAD_POINTS))]
    faults = [f"{element.name} {mode}" for element in assembly.elements for mode in fault_modes(element)]
    tried += [(with_fault(assembly, fault), LARGEST_A / 2) for fault in faults]
    worst_V, where, missing = 0.0, "", 0
    for one, amperes in tried:
        drives, values = case.drives(amperes), nominal_values(one)
        expected = ngspice.voltages(one, values[0], case.system.sources, drives)
        solution = System(one, case.system.sources).solve(values, drives)
        missing += expected is None
        for node, volts in (expected or {}).items():
            off_V = abs(volts - float(solution.voltage(node)[0]))
            if off_V > worst_V:
                worst_V, where = off_V, f"{node} with {', '.join(one.faults) or 'no fault'}"
    return {"worst_difference_V": worst_V, "where": where, "cases": len(tried), "without_reference": missing}


def measure(case: Case) -> dict[str, float | int | str | None]:
    """All figures of one circuit."""
    return {
        "warm_ms": warm_ms(case),
        "cold_ms": cold_ms(case),
        "monte_carlo_5000_s": monte_carlo_s(case),
        **(cold_readings() if case.name == "nest" else {}),
        **difference(case),
        "worst_difference_18_28_C_V": difference_at(case, (18.0, 28.0)),
    }


def main() -> None:
    """Print the figures; with --json one object, the cabinet's figures under names that begin with "cabinet_"."""
    parser = argparse.ArgumentParser(description="Speed and accuracy of operating points.")
    parser.add_argument("--json", action="store_true", help="one JSON object instead of a table")
    as_json = parser.parse_args().json
    found = {case.name: measure(case) for case in cases()}
    if as_json:
        flat = {**found["nest"], **{f"cabinet_{key}": value for key, value in found["cabinet"].items()}}
        print(json.dumps(flat, indent=2))
        return
    print(f"{'':28}{'nest':>14}{'cabinet':>14}")
    for key in [key for key, value in found["nest"].items() if not isinstance(value, str)]:
        cells = [found[name].get(key) for name in ("nest", "cabinet")]
        print(f"{key:28}" + "".join(f"{'-' if cell is None else format(cell, '.3g'):>14}" for cell in cells))


if __name__ == "__main__":
    main()
