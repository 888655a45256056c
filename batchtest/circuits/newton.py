"""Newton's method on a batch of samples: limited steps, and samples leave as they settle."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.problem import Problem, State

Floats = NDArray[np.float64]

#: A sample has settled when no node moves by more in a step, V; the step itself makes the rest far smaller.
TOLERANCE_V = 1e-7
_ITERATIONS = 60


@dataclass(slots=True)
class Outcome:
    """What came of a run: the last state, which samples settled, iterations taken, the last step of every node (V)."""

    state: State
    settled: NDArray[np.bool_]
    iterations: NDArray[np.intp]
    steps: Floats


def settle(problem: Problem, state: State, shunt_S: float = 0.0) -> Outcome:
    """Newton steps until every sample has settled or the iterations are used up."""
    count = len(problem.right)
    rows = np.arange(count)
    steps = np.full((count, problem.equations.count), np.inf)
    outcome = Outcome(state, np.zeros(count, bool), np.zeros(count, np.intp), steps)
    result = State(state.x.copy(), state.junctions.copy(), state.segments.copy())
    for number in range(1, _ITERATIONS + 1):
        state, step, quiet = advance(problem, state, shunt_S)
        result.put(rows, state)
        outcome.steps[rows], outcome.settled[rows], outcome.iterations[rows] = step, quiet, number
        if quiet.all():
            break
        if quiet.any():
            going = np.flatnonzero(~quiet)
            rows, problem, state = rows[going], problem.take(going), state.take(going)
    outcome.state = result
    return outcome


def advance(problem: Problem, state: State, shunt_S: float = 0.0) -> tuple[State, Floats, NDArray[np.bool_]]:
    """One step: new state, how far each node moved, and which samples are at rest."""
    equations = problem.equations
    slopes, rests = problem.devices.evaluate(state.junctions)
    factors, pushed = problem.drives.tangent(state.segments)
    matrices = problem.matrices.copy()
    equations.stamps.add(matrices, np.concatenate([slopes, factors], axis=1))
    if shunt_S:
        matrices[:, : equations.count * equations.size : equations.size + 1] += shunt_S
    right = problem.right - np.concatenate([rests, pushed], axis=1) @ equations.outputs
    x = _balanced(matrices.reshape(len(right), equations.size, equations.size), right, equations.count)
    volts = x @ equations.controls
    count = problem.devices.emission.shape[1]
    fresh = problem.devices.inside(volts[:, :count], slopes, rests)
    held = problem.devices.limit(fresh, state.junctions)
    segments = problem.drives.follow(state.segments, volts[:, count:])
    step = np.abs(x - state.x)[:, : equations.count]
    quiet = (step.max(axis=1, initial=0.0) < TOLERANCE_V) & (segments == state.segments).all(axis=1)
    quiet &= np.abs(held - fresh).max(axis=1, initial=0.0) < TOLERANCE_V
    return State(x, held, segments), step, quiet


def _balanced(matrices: Floats, right: Floats, nodes: int) -> Floats:
    """Solve with the rows and columns of nodes scaled to a diagonal of one: a net held by leakage keeps its digits."""
    scale = np.ones_like(right)
    scale[:, :nodes] = 1.0 / np.sqrt(np.abs(np.diagonal(matrices, axis1=1, axis2=2)[:, :nodes]))
    matrices *= scale[:, :, None]
    matrices *= scale[:, None, :]
    return _solved(matrices, right * scale) * scale


def _solved(matrices: Floats, right: Floats) -> Floats:
    """Solve each sample's equations; a singular one gives not-a-number, and so never settles."""
    try:
        return np.linalg.solve(matrices, right[:, :, None])[:, :, 0].astype(np.float64, copy=False)
    except np.linalg.LinAlgError:
        if len(matrices) == 1:
            return np.full_like(right, np.nan)
    return np.concatenate([_solved(matrices[row : row + 1], right[row : row + 1]) for row in range(len(right))])
