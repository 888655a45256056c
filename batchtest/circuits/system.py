"""A circuit with limited sources at its nodes, solved for batches of part values and settings."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.aids import solve
from batchtest.circuits.assembly import Assembly
from batchtest.circuits.equations import Equations
from batchtest.circuits.junctions import REFERENCE_C
from batchtest.circuits.newton import advance
from batchtest.circuits.problem import Problem, State, check_values, temperatures
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
    temperature_C : (samples,) temperature of all junctions.
    """

    assembly: Assembly
    nodes: tuple[str, ...]
    volts: Floats
    iterations: NDArray[np.intp]
    temperature_C: Floats
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
        self._prepared: dict[tuple[LimitedSource, ...], Equations] = {}

    def solve(
        self,
        values: Floats,
        drives: Mapping[str, Drive],
        start: Solution | None = None,
        *,
        temperature_C: float | Floats = REFERENCE_C,
    ) -> Solution:
        """Find the operating points.

        Parameters
        ----------
        values : (samples, columns) part values, as from `nominal_values` or `draw_values`.
        drives : setting of each source by name; one that is missing is off. Arrays of (samples,) are taken by sample.
        start : a solution near by, of one sample or as many; its circuit may be another with the same node names.
        temperature_C : of all junctions; a number for all samples or an array of (samples,).

        Raises
        ------
        NoOperatingPoint : names the node that would not settle, and in a batch the sample.
        SetupError : values, drives, start or temperatures do not fit.
        """
        self._check(values, drives, start)
        equations = self._equations(tuple(source for source in self.sources if source.name in drives))
        each_C = temperatures(temperature_C, len(values))
        settings = Drives.of([source for source in self.sources if source.name in drives], drives, len(values))
        known = None if start is None else _adopted(start, equations)
        found: list[State] = []
        iterations = np.zeros(len(values), np.intp)
        for rows in _blocks(len(values), lone_first=known is None):
            problem = Problem.of(equations, values[rows], settings.take(rows), each_C[rows])
            state, iterations[rows] = solve(problem, _begin(problem, known, rows), range(rows.start, rows.stop))
            found.append(state)
            known = state if known is None else known
        return self._solution(State.joined(found), equations, iterations, each_C, drives)

    def step(
        self,
        near: Solution,
        values: Floats,
        drives: Mapping[str, Drive],
        *,
        temperature_C: float | Floats = REFERENCE_C,
    ) -> Solution:
        """Where samples near a solution of one sample settle, right to first order: one step of Newton's method.

        Raises SetupError where values, drives or temperatures do not fit, or other sources are on than in the solution.
        """
        self._check(values, drives, near)
        sources = [source for source in self.sources if source.name in drives]
        equations, each_C = self._equations(tuple(sources)), temperatures(temperature_C, len(values))
        settings = Drives.of(sources, drives, len(values))
        if near.equations is not equations or len(near.volts) != 1:
            raise SetupError(f"a step begins at one sample with the same sources on; that one has {len(near.volts)}")
        found: list[State] = []
        for rows in _blocks(len(values), lone_first=False):
            problem = Problem.of(equations, values[rows], settings.take(rows), each_C[rows])
            begin = near.state.take(np.zeros(len(problem.right), np.intp))  # each source on the line that it was on
            found.append(advance(problem, begin)[0])
        return self._solution(State.joined(found), equations, np.ones(len(values), np.intp), each_C, drives)

    def _equations(self, driven: tuple[LimitedSource, ...]) -> Equations:
        """The equations with the sources that are on; one that is off is not in them and delivers exactly nothing."""
        if driven not in self._prepared:
            self._prepared[driven] = Equations(self.assembly, driven)
        return self._prepared[driven]

    def _solution(
        self,
        state: State,
        equations: Equations,
        iterations: NDArray[np.intp],
        each_C: Floats,
        drives: Mapping[str, Drive],
    ) -> Solution:
        currents = {source.name: np.zeros(len(state.x)) for source in self.sources}
        driven = [source.name for source in self.sources if source.name in drives]
        currents |= {name: state.x[:, equations.driven + index] for index, name in enumerate(driven)}
        visible = [place for place, name in enumerate(equations.names) if "#" not in name]
        nodes = tuple(equations.names[place] for place in visible)
        volts = state.x[:, visible]
        return Solution(self.assembly, nodes, volts, iterations, each_C, currents, state, equations)

    def _check(self, values: Floats, drives: Mapping[str, Drive], start: Solution | None) -> None:
        check_values(values, self.assembly)
        if start is not None and len(start.volts) not in (1, len(values)):
            raise SetupError(f"the start has {len(start.volts)} samples; it needs 1 or {len(values)}")
        names = [source.name for source in self.sources]
        for name in drives:
            if name not in names:
                raise SetupError(f"no source {name!r} in the system; {nearest(name, names)}")


def _adopted(start: Solution, wanted: Equations) -> State:
    """The state of a solution in the order of other equations; what it does not have begins at zero."""
    theirs, count = start.equations, len(start.volts)
    if theirs is wanted:
        return start.state
    x = np.zeros((count, wanted.size))
    x[:, : wanted.count] = _moved(theirs.names, start.state.x, wanted.names)
    junctions = _moved(theirs.junctions, start.state.junctions, wanted.junctions)
    return State(x, junctions, np.zeros((count, 0), np.int8))


def _moved(names: Sequence[str], values: Floats, wanted: Sequence[str]) -> Floats:
    """Columns by name in another order."""
    places = {name: place for place, name in enumerate(names)}
    moved = np.zeros((len(values), len(wanted)))
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
