"""A batch of samples to be solved: the equations with numbers filled in, and the state that the batch is in."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.assembly import Assembly
from batchtest.circuits.devices import Devices
from batchtest.circuits.equations import Equations
from batchtest.circuits.sources import Drives
from batchtest.errors import SetupError

Floats = NDArray[np.float64]
Places = NDArray[np.intp]
Rows = Places | slice

#: Temperatures for which the laws of junctions may be asked, C; another is most likely a slip of units.
COLDEST_C, HOTTEST_C = -100.0, 250.0


def check_values(values: Floats, assembly: Assembly) -> None:
    """Raise SetupError unless part values fit a circuit."""
    columns = len(assembly.parameters)
    if values.ndim != 2 or values.shape[1] != columns or not len(values):
        raise SetupError(f"part values have the shape {values.shape}; they need (samples, {columns})")


def temperatures(temperature_C: float | Floats, count: int) -> Floats:
    """(samples,) temperature of each of `count` samples, C; raises SetupError where it cannot be one."""
    each_C = np.asarray(temperature_C, float)
    if each_C.shape not in ((), (count,)):
        raise SetupError(f"temperature_C has the shape {each_C.shape}; it needs one number or ({count},)")
    wrong_C = each_C[~((each_C >= COLDEST_C) & (each_C <= HOTTEST_C))]
    if wrong_C.size:
        raise SetupError(f"temperature_C is {wrong_C.flat[0]:g}; write degrees Celsius, {COLDEST_C:g} to {HOTTEST_C:g}")
    return np.broadcast_to(each_C, (count,))


@dataclass(slots=True)
class State:
    """Where a batch stands: unknowns, limited junction voltages, and the line that each source is on."""

    x: Floats
    junctions: Floats
    segments: NDArray[np.int8]

    def take(self, rows: Rows) -> State:
        """The state of some samples."""
        return State(self.x[rows], self.junctions[rows], self.segments[rows])

    @classmethod
    def joined(cls, states: Sequence[State]) -> State:
        """Several batches as one."""
        if len(states) == 1:
            return states[0]
        parts = zip(*((state.x, state.junctions, state.segments) for state in states), strict=True)
        x, junctions, segments = (np.concatenate(part) for part in parts)
        return cls(x, junctions, segments)

    def put(self, rows: Rows, other: State) -> None:
        """Take over the state of some samples."""
        self.x[rows], self.junctions[rows], self.segments[rows] = other.x, other.junctions, other.segments


@dataclass(frozen=True, slots=True)
class Problem:
    """The equations of a batch with numbers in them: linear matrices (flat), right sides, devices, sources."""

    equations: Equations
    matrices: Floats
    right: Floats
    devices: Devices
    drives: Drives

    @classmethod
    def of(
        cls, equations: Equations, values: Floats, drives: Drives, temperature_C: Floats, moved: Places | None = None
    ) -> Problem:
        """Fill in part values (samples, columns), settings and temperatures (samples,).

        `moved` is where each sample has the source that is moved, where the equations have one.
        """
        extended = equations.extended(values)
        devices = Devices.of(equations.flat, extended, temperature_C)
        return cls(equations, *equations.linear(extended, moved), devices, drives)

    def take(self, rows: Rows) -> Problem:
        """The problem of some samples."""
        devices, drives = self.devices.take(rows), self.drives.take(rows)
        return Problem(self.equations, self.matrices[rows], self.right[rows], devices, drives)

    def scaled(self, share: float) -> Problem:
        """The same with every source turned down to a share."""
        return Problem(self.equations, self.matrices, self.right * share, self.devices, self.drives.scaled(share))

    def cold(self) -> State:
        """A state to begin with where nothing is known."""
        count = len(self.right)
        segments = self.drives.segments()
        return State(np.zeros((count, self.equations.size)), self.devices.at_start(), segments)

    def dead(self) -> State:
        """The state of a circuit with nothing on."""
        cold = self.cold()
        return State(cold.x, np.zeros_like(cold.junctions), cold.segments)
