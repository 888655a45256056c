"""One limited source moved from place to place of a circuit in which nothing else is on.

So does a scanner move the meter's ohms source over the points of a fixture. All places and samples are solved together:
first every place for the first sample, then the others from where that one stands.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.aids import solve
from batchtest.circuits.assembly import Assembly
from batchtest.circuits.equations import Equations
from batchtest.circuits.junctions import REFERENCE_C
from batchtest.circuits.newton import advance
from batchtest.circuits.problem import Problem, State, check_values, temperatures
from batchtest.circuits.sources import Drive, Drives, LimitedSource
from batchtest.circuits.system import BLOCK

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


class MovingSource:
    """A source with its places in a circuit; each place is a `LimitedSource` of its own name."""

    def __init__(self, assembly: Assembly, places: Sequence[LimitedSource]) -> None:
        self._assembly = assembly
        self._places: Mapping[str, int] = {place.name: number for number, place in enumerate(places)}
        self._equations = Equations(assembly, (), places)

    def volts(
        self,
        values: Floats,
        settings: Sequence[tuple[str, Drive]],
        temperature_C: float | Floats = REFERENCE_C,
        stepped: NDArray[np.bool_] | None = None,
    ) -> Floats:
        """Voltage across the source for each of its settings, shape (settings, samples), V.

        Parameters
        ----------
        values : (samples, columns) part values.
        settings : name of a place, and what the source is set to there, in numbers; a place may come more than once.
        temperature_C : of all junctions; a number for all samples or an array of (samples,).
        stepped : (samples,) those that are so near the first that one step from there is enough: right to first order.

        Raises
        ------
        NoOperatingPoint : names the node that would not settle, the sample and the place.
        SetupError : values, a drive or temperatures do not fit.
        """
        check_values(values, self._assembly)
        batch = self._batch(values, settings, temperatures(temperature_C, len(values)))
        found = np.empty((len(settings), len(values)))
        every = np.arange(found.size).reshape(found.shape)
        firsts = State.joined([batch.solve(cells) for cells in _blocks(every[:, 0])])
        found[:, 0] = firsts.x[:, self._equations.gauge]
        near = np.zeros(len(values), bool) if stepped is None else stepped
        for work, chosen in ((batch.solve, ~near[1:]), (batch.step, near[1:])):
            for cells in _blocks(every[:, 1:][:, chosen].ravel()):
                state = work(cells, firsts.take(cells // len(values)))
                found.flat[cells] = state.x[:, self._equations.gauge]
        return found

    def _batch(self, values: Floats, settings: Sequence[tuple[str, Drive]], each_C: Floats) -> _Batch:
        rows = [(drive.volts, drive.ohms, drive.lower_A, drive.upper_A) for _, drive in settings]
        columns = np.array(rows, float).reshape(-1, 4).T
        source = LimitedSource("moved", "", "")
        drives = Drives.of([source], {source.name: Drive(*columns)}, len(settings))
        names = [name for name, _ in settings]
        moved = np.array([self._places[name] for name in names], np.intp)
        return _Batch(self._equations, values, drives, each_C, moved, names)


@dataclass(frozen=True, slots=True)
class _Batch:
    """Every setting with every sample, as cells numbered setting by setting; filled in block by block."""

    equations: Equations
    values: Floats
    drives: Drives
    each_C: Floats
    moved: Places
    names: Sequence[str]

    def step(self, cells: Places, start: State) -> State:
        """One step of some cells from where they stand, the source on the line that it is on there."""
        return advance(self._problem(cells)[0], start)[0]

    def _problem(self, cells: Places) -> tuple[Problem, tuple[Places, Places]]:
        settings, samples = np.divmod(cells, len(self.values))
        drives, moved = self.drives.take(settings), self.moved[settings]
        problem = Problem.of(self.equations, self.values[samples], drives, self.each_C[samples], moved=moved)
        return problem, (settings, samples)

    def solve(self, cells: Places, start: State | None = None) -> State:
        """Operating points of some cells."""
        problem, (settings, samples) = self._problem(cells)
        if start is None:  # a circuit that feeds itself is far from dead
            start = problem.cold() if problem.right.any() else problem.dead()
        else:
            segments = problem.drives.segments(start.x[:, [self.equations.gauge]])
            start = State(start.x, start.junctions, segments)
        labels = [f"{sample} with {self.names[row]} on" for row, sample in zip(settings, samples, strict=True)]
        return solve(problem, start, labels)[0]


def _blocks(cells: Places) -> list[Places]:
    """Cells in blocks that stay in the processor's cache."""
    return [cells[begin : begin + BLOCK] for begin in range(0, len(cells), BLOCK)]
