"""Newton's method on a batch of samples: limited steps, samples leave as they settle, and aids for those that do not.

The aids go from cheap to dear: from a cold start (junctions at their bend); with shunts at all nodes that are taken away
step by step; with all sources turned up from nothing in steps of adaptive width.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.devices import Devices
from batchtest.circuits.equations import Equations
from batchtest.circuits.sources import Drives
from batchtest.errors import NoOperatingPoint

Floats = NDArray[np.float64]
Rows = NDArray[np.intp] | slice

#: A sample has settled when no node moves by more in a step, V; the step itself makes the rest far smaller.
TOLERANCE_V = 1e-7
_ITERATIONS = 60
_FIRST_SHUNT_S, _LAST_SHUNT_S = 1e-2, 1e-13
_FIRST_SHARE, _SMALLEST_SHARE = 0.1, 1e-4


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
    """The equations of a batch with its numbers: linear matrices (flat) and right sides, devices, settings of sources."""

    equations: Equations
    matrices: Floats
    right: Floats
    devices: Devices
    drives: Drives

    @classmethod
    def of(cls, equations: Equations, values: Floats, drives: Drives) -> Problem:
        """Fill in part values (samples, columns) and settings."""
        extended = equations.extended(values)
        return cls(equations, *equations.linear(extended), Devices.of(equations.flat, extended), drives)

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


@dataclass(slots=True)
class Outcome:
    """What came of a run: the last state, which samples settled, iterations taken, the last step of every node (V)."""

    state: State
    settled: NDArray[np.bool_]
    iterations: NDArray[np.intp]
    steps: Floats


def solve(problem: Problem, state: State, first: int = 0) -> tuple[State, NDArray[np.intp]]:
    """Find the operating point of every sample; `first` is the number of the first one, for messages.

    Raises
    ------
    NoOperatingPoint : names the node that would not settle, and the sample.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        outcome = settle(problem, state)
        for row in np.flatnonzero(~outcome.settled):
            found, iterations = _aided(problem.take(slice(row, row + 1)), first + int(row))
            outcome.state.put(slice(row, row + 1), found)
            outcome.iterations[row] += iterations
    return outcome.state, outcome.iterations


def settle(problem: Problem, state: State, shunt_S: float = 0.0) -> Outcome:
    """Newton steps until every sample has settled or the iterations are used up."""
    count = len(problem.right)
    rows = np.arange(count)
    steps = np.full((count, problem.equations.count), np.inf)
    outcome = Outcome(state, np.zeros(count, bool), np.zeros(count, np.intp), steps)
    result = State(state.x.copy(), state.junctions.copy(), state.segments.copy())
    for number in range(1, _ITERATIONS + 1):
        state, step, quiet = _advance(problem, state, shunt_S)
        result.put(rows, state)
        outcome.steps[rows], outcome.settled[rows], outcome.iterations[rows] = step, quiet, number
        if quiet.all():
            break
        if quiet.any():
            going = np.flatnonzero(~quiet)
            rows, problem, state = rows[going], problem.take(going), state.take(going)
    outcome.state = result
    return outcome


def _advance(problem: Problem, state: State, shunt_S: float) -> tuple[State, Floats, NDArray[np.bool_]]:
    """One step: new state, how far each node moved, and which samples are at rest."""
    equations = problem.equations
    slopes, rests = problem.devices.evaluate(state.junctions)
    siemens, pushed = problem.drives.tangent(state.segments)
    matrices = problem.matrices.copy()
    equations.stamps.add(matrices, np.concatenate([slopes, siemens], axis=1))
    if shunt_S:
        matrices[:, : equations.count * equations.size : equations.size + 1] += shunt_S
    right = problem.right - np.concatenate([rests, pushed], axis=1) @ equations.outputs
    x = _solved(matrices.reshape(len(right), equations.size, equations.size), right)
    volts = x @ equations.controls
    count = problem.devices.emission.shape[1]
    fresh = problem.devices.inside(volts[:, :count], slopes, rests)
    held = problem.devices.limit(fresh, state.junctions)
    segments = problem.drives.follow(state.segments, volts[:, count:])
    step = np.abs(x - state.x)[:, : equations.count]
    quiet = (step.max(axis=1, initial=0.0) < TOLERANCE_V) & (segments == state.segments).all(axis=1)
    quiet &= np.abs(held - fresh).max(axis=1, initial=0.0) < TOLERANCE_V
    return State(x, held, segments), step, quiet


def _solved(matrices: Floats, right: Floats) -> Floats:
    """Solve each sample's equations; a singular one gives not-a-number, and so never settles."""
    try:
        return np.linalg.solve(matrices, right[:, :, None])[:, :, 0]
    except np.linalg.LinAlgError:
        if len(matrices) == 1:
            return np.full_like(right, np.nan)
    return np.concatenate([_solved(matrices[row : row + 1], right[row : row + 1]) for row in range(len(right))])


def _aided(problem: Problem, sample: int) -> tuple[State, int]:
    """One sample with every aid."""
    total = 0
    worst: Floats = np.array([])
    for aid in (_from_cold, _by_shunts, _by_turning_up):
        outcome = aid(problem)
        total += int(outcome.iterations[0])
        if outcome.settled[0]:
            return outcome.state, total
        worst = np.nan_to_num(outcome.steps[0], nan=np.inf)
    node = problem.equations.names[int(worst.argmax())] if worst.size else "the circuit"
    raise NoOperatingPoint(
        f"no operating point for sample {sample}: {node} would not settle (last step {worst.max(initial=0.0):.3g} V after {total} "
        f"iterations); look at the parts around it, and for loops of voltage sources"
    )


def _from_cold(problem: Problem) -> Outcome:
    return settle(problem, problem.cold())


def _by_shunts(problem: Problem) -> Outcome:
    """A shunt at every node, made smaller as long as that works."""
    shunt_S, ratio = _FIRST_SHUNT_S, 10.0
    outcome = settle(problem, problem.cold(), shunt_S)
    total, state = outcome.iterations.copy(), outcome.state
    while outcome.settled[0] and shunt_S > 0:
        smaller = shunt_S / ratio if shunt_S / ratio > _LAST_SHUNT_S else 0.0
        trial = settle(problem, state, smaller)
        total += trial.iterations
        if trial.settled[0]:
            outcome, state, shunt_S, ratio = trial, trial.state, smaller, min(ratio * ratio, 10.0)
        elif ratio > 1.2:
            ratio = ratio**0.5
        else:
            outcome = trial
    outcome.iterations = total
    return outcome


def _by_turning_up(problem: Problem) -> Outcome:
    """All sources from nothing to full in steps that grow while they work and shrink when they do not."""
    share, step = 0.0, _FIRST_SHARE
    state = problem.dead()
    total = np.zeros(1, np.intp)
    while True:
        target = min(1.0, share + step)
        outcome = settle(problem.scaled(target), state)
        total += outcome.iterations
        if outcome.settled[0]:
            share, state, step = target, outcome.state, step * 1.6
        else:
            step /= 3.0
        if share == 1.0 or step < _SMALLEST_SHARE:
            outcome.iterations = total
            return outcome
