"""A host's circuit as its outlet shows it: the part in series with the outlet at any resistance, a load at its pins.

What is asked is where the circuit stands for given resistances and loads, and what its parts then bear: so that a fuse
that is warm, or tripped, or at the lowest resistance of its data sheet is the same circuit with another number in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Self

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.bench_model import LOAD_OHM
from batchtest.circuits.currents import stresses
from batchtest.circuits.elements import Column
from batchtest.circuits.junctions import REFERENCE_C
from batchtest.circuits.sources import Drive, LimitedSource
from batchtest.circuits.system import Solution, System
from batchtest.errors import SetupError, nearest
from batchtest.files.circuit import Rating

Floats = NDArray[np.float64]

_LOAD = "load"


@dataclass(frozen=True, slots=True)
class OutletModel:
    """A circuit with a load at one pair of terminals.

    Attributes
    ----------
    part : full name of the resistor in series with the outlet, such as "host.RACC".
    column : its place in an array of part values.
    ends : plus and minus terminal of the outlet.
    """

    system: System
    part: str
    column: int
    ends: tuple[str, str]

    @classmethod
    def of(cls, assembly: Assembly, part: str, ends: tuple[str, str]) -> Self:
        """Prepare a circuit; raises SetupError where `part` is no resistor of it."""
        resistors = {element.name: element for element in assembly.elements if element.kind == "R"}
        if part not in resistors:
            raise SetupError(f"no resistor {part!r} in the circuit; {nearest(part, list(resistors))}")
        value = resistors[part].parameters["value"]
        if not isinstance(value, Column):
            raise SetupError(f"{part} has failed in this circuit, and its resistance cannot be set; name a good one")
        return cls(System(assembly, [LimitedSource(_LOAD, *ends)]), part, value.index, ends)

    def loaded(
        self,
        values: Floats,
        part_ohm: float | Floats,
        amperes: float | Floats,
        start: Solution | None = None,
        *,
        load_ohm: float = LOAD_OHM,
        temperature_C: float = REFERENCE_C,
    ) -> Solution:
        """Operating points of one host with a load in constant current, as far as the outlet can give it.

        Parameters
        ----------
        values : (1, columns) part values of the host.
        part_ohm, amperes : resistance of the part, and what the load is set to (`inf`: as much as comes); numbers, or
            arrays of (samples,) of which each makes a sample.
        load_ohm : least resistance of the load, with its leads.

        Raises
        ------
        NoOperatingPoint : names the node that would not settle.
        """
        ohms, drawn = np.broadcast_arrays(np.atleast_1d(part_ohm), np.atleast_1d(amperes))
        return self.system.solve(
            self.values(values, ohms),
            {_LOAD: Drive(0.0, load_ohm, -np.minimum(drawn, 1e6), 0.0)},
            start,
            temperature_C=temperature_C,
        )

    def values(self, values: Floats, part_ohm: float | Floats) -> Floats:
        """Part values with the part at other resistances: (samples, columns) from (1, columns)."""
        ohms = np.atleast_1d(part_ohm)
        changed = np.repeat(values, len(ohms), axis=0)
        changed[:, self.column] = ohms
        return changed

    def amperes(self, solution: Solution) -> Floats:
        """(samples,) current that the load draws, A."""
        return -solution.source_A(_LOAD)

    def volts(self, solution: Solution) -> Floats:
        """(samples,) voltage at the outlet, V."""
        return solution.between(*self.ends)

    def shares(
        self, solution: Solution, values: Floats, part_ohm: float | Floats, ratings: Mapping[str, Rating]
    ) -> dict[str, Floats]:
        """What each rated part but the one in series bears over its rating, (samples,) each; above 1 is past it.

        Parameters
        ----------
        ratings : by full name, as from `ratings_of`.
        """
        borne = stresses(solution, self.values(values, part_ohm))
        return {name: borne[name].share(rating) for name, rating in ratings.items() if name != self.part}
