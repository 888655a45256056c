"""What the parts of a host bear when its outlet is loaded: its circuit solved with any resistance in series with it."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np

from batchtest.capacity.model import Ceiling
from batchtest.circuits import Assembly, OutletModel, alone, nominal_values, ratings_of
from batchtest.circuits.values import Floats
from batchtest.files.circuit import CircuitFile, Rating
from batchtest.files.outlets import OutletSetup
from batchtest.procedure.host_model import at_mains

#: How finely the largest current is looked for, as a share of the highest that is asked about.
_STEPS = 200
#: Loads at which low mains are compared with high ones.
_STEPS_OF_MAINS = 5
#: A load that takes all there is, A.
ALL_A = 1e3


@dataclass(frozen=True, slots=True)
class Bearing:
    """The circuit of a host with nominal parts, a load at its outlet, and the ratings of its parts.

    The part in series with the outlet is left out of the ratings: it is the one that is asked about.
    """

    assembly: Assembly
    circuit: CircuitFile
    model: OutletModel
    values: Floats
    ratings: Mapping[str, Rating]

    @classmethod
    def of(cls, setup: OutletSetup) -> Self:
        """Prepare the circuit of an outlet's host.

        Raises
        ------
        SetupError : the part in series with the outlet is no resistor of the circuit.
        """
        assembly = alone(setup.circuit)
        point = setup.fixture.points[setup.outlet.point]
        model = OutletModel.of(assembly, f"host.{setup.outlet.part}", (point.plus, point.minus))
        return cls(assembly, setup.circuit, model, nominal_values(assembly), ratings_of({"host": setup.circuit}))

    def ceiling(self, part_ohm: float, most_A: float) -> Ceiling | None:
        """The largest current up to `most_A` that takes no part past its rating, and which part is the first.

        `None` where none is passed.
        """
        currents = np.linspace(most_A / _STEPS, most_A, _STEPS)
        shares = self._shares(part_ohm, currents)
        worst = np.max(np.stack(list(shares.values())), axis=0)
        past = np.flatnonzero(worst > 1)
        if not past.size:
            return None
        first = int(past[0])
        part = max(shares, key=lambda name: shares[name][first])
        return Ceiling(term=f"{_short(part)} of the host", current_A=float(currents[first - 1]) if first else 0.0)

    def overloads(self, part_ohm: float, amperes: float) -> tuple[str, ...]:
        """The parts that a load takes past their ratings, the worst first, one sentence each."""
        shares = self._shares(part_ohm, np.array([amperes]))
        past = {name: float(share[0]) for name, share in shares.items() if share[0] > 1}
        worst_first = sorted(past, key=lambda name: -past[name])
        return tuple(f"{_short(name)} to {past[name]:.2f} times its rating" for name in worst_first)

    def deliverable_A(self, part_ohm: float) -> float:
        """What the host gives into a load that takes all there is, A."""
        solution = self.model.loaded(self.values, part_ohm, ALL_A)
        return float(self.model.amperes(solution)[0])

    def low_mains_V(self, part_ohm: float, most_A: float, within: float) -> float:
        """By how much the outlet is lower at most with the mains low by a share than with them as high, V.

        For any load up to `most_A`. The mains of the day of the test are not measured: they may have been high.
        """
        currents = np.linspace(0.0, most_A, _STEPS_OF_MAINS)
        high, low = (
            self.model.volts(
                self.model.loaded(at_mains(self.assembly, self.circuit, self.values, share), part_ohm, currents)
            )
            for share in (1.0 + within, 1.0 - within)
        )
        return max(0.0, float(np.max(high - low)))

    def _shares(self, part_ohm: float, currents: Floats) -> dict[str, Floats]:
        solution = self.model.loaded(self.values, part_ohm, currents)
        shares = self.model.shares(solution, self.values, np.full(len(currents), part_ohm), self.ratings)
        return {name: share for name, share in shares.items() if math.isfinite(float(share[0]))}


def _short(part: str) -> str:
    return part.removeprefix("host.")
