"""A circuit with limited sources at its nodes, solved for batches of part values and settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.aids import solve
from batchtest.circuits.assembly import Assembly
from batchtest.circuits.equations import Equations
from batchtest.circuits.problem import Problem, State
from batchtest.circuits.sources import Drive, Drives, LimitedSource
from batchtest.errors import SetupError, nearest

Floats = NDArray[np.float64]

#: Samples solved at a time, so that their matrices stay in the processor's cache.
BLOCK = 64


@dataclass(frozen=True, slots=True)
class Solution:
    """Operating points of a batch.

    Attributes
    ----------
    volts : (samples, nodes) voltage of each of `nodes` against the ground.
    iterations : (samples,) Newton steps taken.
    """

    assembly: Assembly
    nodes: tuple[str, ...]
    volts: Floats
    iterations: NDArray[np.intp]
    currents: Mapping[str, Floats] = field(repr=False)
    state: State = field(repr=False)
    equations: Equations = field(repr=False)

    def voltage(self, terminal: str) -> Floats:
        """(samples,) voltage of a terminal or node against the ground, V; raises SetupError when unknown."""
        node = self.assembly.node(terminal)
        place = self.equations.places[node]
        return self.state.x[:, place] if place >= 0 else np.zeros(len(self.volts))

    def between(self, plus: str, minus: str) -> Floats:
        """(samples,) voltage from one terminal or node to another, V."""
        return self.voltage(plus) - self.voltage(minus)

    def source_A(self, name: str) -> Floats:
        """(samples,) current that a source delivers out of its plus, A; raises SetupError when unknown."""
        if name not in self.currents:
            raise SetupError(f"no source {name!r} in the system; {nearest(name, list(self.currents))}")
        return self.currents[name]


class System:
    """An assembly and the limited sources that may be driven in it."""

    def __init__(self, assembly: Assembly, sources: Sequence[LimitedSource] = ()) -> None:
        self.assembly = assembly
        self.sources = tuple(sources)
        self.equations = Equations(assembly, self.sources)

    def solve(self, values: Floats, drives: Mapping[str, Drive], start: Solution | None = None) -> Solution:
        """Find the operating points.

        Parameters
        ----------
        values : (samples, columns) part values, as from `nominal_values` or `draw_values`.
        drives : setting of each source by name; one that is missing is off. Arrays of (samples,) are taken by sample.
        start : a solution near by, of one sample or as many; its circuit may be another with the same node names.

        Raises
        ------
        NoOperatingPoint : names the node that would not settle, and in a batch the sample.
        SetupError : values, drives or start do not fit.
        """
        self._check(values, start)
        settings = Drives.of(self.sources, drives, len(values))
        known = None if start is None else self._adopt(start)
        found: list[State] = []
        iterations = np.zeros(len(values), np.intp)
        for rows in _blocks(len(values), lone_first=known is None):
            problem = Problem.of(self.equations, values[rows], settings.take(rows))
            state, iterations[rows] = solve(problem, _begin(problem, known, rows), rows.start)
            found.append(state)
            known = state if known is None else known
        return self._solution(State.joined(found), iterations, settings)

    def _solution(self, state: State, iterations: NDArray[np.intp], settings: Drives) -> Solution:
        equations = self.equations
        volts = state.x @ equations.controls[:, len(equations.junctions) :]
        delivered = settings.current(state.segments, volts)
        currents = {source.name: delivered[:, index] for index, source in enumerate(self.sources)}
        visible = [place for place, name in enumerate(equations.names) if "#" not in name]
        nodes = tuple(equations.names[place] for place in visible)
        return Solution(self.assembly, nodes, state.x[:, visible], iterations, currents, state, equations)

    def _adopt(self, start: Solution) -> State:
        """The state of a solution in this system's order; what it does not have begins at zero."""
        if start.equations is self.equations:
            return start.state
        theirs, count = start.equations, len(start.volts)
        x = _moved(theirs.names, start.state.x, self.equations.names, self.equations.size)
        junctions = _moved(theirs.junctions, start.state.junctions, self.equations.junctions)
        return State(x, junctions, np.zeros((count, len(self.sources)), np.int8))

    def _check(self, values: Floats, start: Solution | None) -> None:
        columns = len(self.assembly.parameters)
        if values.ndim != 2 or values.shape[1] != columns or not len(values):
            raise SetupError(f"part values have the shape {values.shape}; they need (samples, {columns})")
        if start is not None and len(start.volts) not in (1, len(values)):
            raise SetupError(f"the start has {len(start.volts)} samples; it needs 1 or {len(values)}")


def _moved(names: Sequence[str], values: Floats, wanted: Sequence[str], size: int | None = None) -> Floats:
    """Columns by name in another order."""
    places = {name: place for place, name in enumerate(names)}
    moved = np.zeros((len(values), size or len(wanted)))
    for place, name in enumerate(wanted):
        if name in places:
            moved[:, place] = values[:, places[name]]
    return moved


def _blocks(count: int, *, lone_first: bool) -> list[slice]:
    """Slices of a batch; the first sample by itself where it is to be the start of all others."""
    first = [slice(0, 1)] if lone_first else []
    return first + [slice(begin, min(begin + BLOCK, count)) for begin in range(len(first), count, BLOCK)]


def _begin(problem: Problem, known: State | None, rows: slice) -> State:
    """Where a block begins: near a known solution, or cold."""
    if known is None:
        return problem.cold()
    known = known.take(np.zeros(len(problem.right), np.intp) if len(known.x) == 1 else rows)
    volts = known.x @ problem.equations.controls[:, len(problem.equations.junctions) :]
    return State(known.x, known.junctions, problem.drives.segments(volts))
