"""What a procedure is computed from: the joined circuit as the bench sees it, and the meter's ranges."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from decimal import Decimal

from batchtest.circuits import Assembly, BenchModel, join, nominal_values
from batchtest.files.bench import OhmsAccuracy, VoltsAccuracy
from batchtest.files.library import Setup


@dataclass(frozen=True, slots=True)
class Ranges:
    """The meter's accuracy rows by function; their ranges are what it can be set to."""

    volts: tuple[VoltsAccuracy, ...]
    ohms: tuple[OhmsAccuracy, ...]


def ranges_of(setup: Setup) -> Ranges:
    """The ranges of the bench's meter."""
    accuracy = setup.bench.meter.accuracy
    return Ranges(volts=accuracy.volts_dc, ohms=accuracy.ohms)


def assemble(setup: Setup) -> Assembly:
    """Board, the fixture's cable and the fixture's stand-in for the host as one circuit."""
    return join(setup.fixture_circuit, setup.cable, setup.board_circuit)


@dataclass(frozen=True, slots=True)
class Nominal:
    """A board with nominal parts in the nest, solved as the bench would drive it."""

    setup: Setup
    assembly: Assembly
    model: BenchModel

    @classmethod
    def of(cls, setup: Setup) -> Nominal:
        """Join and prepare the circuits of a setup."""
        assembly = assemble(setup)
        return cls(setup, assembly, BenchModel.of(assembly, setup.fixture))

    def ohms(self, point: str, row: OhmsAccuracy) -> float:
        """What the meter's ohms function reads at a point on one of its ranges, ohm; the circuit is not linear."""
        current, compliance = float(row.current), float(row.compliance)
        solution = self.model.cold(nominal_values(self.assembly), point, current, compliance)
        return float(solution.between(*self.terminals(point))[0]) / current

    def powered(self, volts: float, load_currents: Mapping[int, float]) -> tuple[dict[str, float], float]:
        """Voltage of every rail (V) and the supply's current (A), with the supply at `volts` and the loads drawing."""
        values = nominal_values(self.assembly)
        solution = self.model.powered(values, volts, self.largest_A, load_currents)
        rails = {rail: float(solution.between(*self.terminals(rail))[0]) for rail in self.setup.limits.rails}
        return rails, float(solution.source_A("supply")[0])

    @property
    def largest_A(self) -> float:
        """The supply's largest range of current, A: no limit in the way of what the circuit draws."""
        return float(max(row.range for row in self.setup.bench.supply.accuracy.current))

    def settle_s(self, point: str) -> float:
        """Time constant at a point when powered: that of its slower terminal, s."""
        return max(self.assembly.settle_s(terminal) for terminal in self.terminals(point))

    def terminals(self, point: str) -> tuple[str, str]:
        """The plus and minus terminals of a point."""
        known = self.setup.fixture.points[point]
        return known.plus, known.minus

    @property
    def full_volts(self) -> Decimal:
        """The last voltage of the soft start, at which the board is tested, V."""
        return self.setup.fixture.power.soft_start[-1]
