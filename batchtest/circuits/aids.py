"""Operating points of a batch: Newton's method, and aids for the samples that it alone does not settle.

The aids go from cheap to dear: a cold start (junctions at their bend); shunts at all nodes that are taken away step by
step; all sources turned up from nothing in steps of adaptive width.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batchtest.circuits.newton import Outcome, settle
from batchtest.circuits.problem import Problem, State
from batchtest.errors import NoOperatingPoint

Floats = NDArray[np.float64]

_FIRST_SHUNT_S, _LAST_SHUNT_S = 1e-2, 1e-13
_FIRST_SHARE, _SMALLEST_SHARE = 0.1, 1e-4


def solve(problem: Problem, state: State, labels: Sequence[object]) -> tuple[State, NDArray[np.intp]]:
    """Find the operating point of every sample; `labels` are what messages call them.

    Raises
    ------
    NoOperatingPoint : names the node that would not settle, and the sample.
    """
    with np.errstate(over="ignore", invalid="ignore", divide="ignore"):
        outcome = settle(problem, state)
        for row in np.flatnonzero(~outcome.settled):
            found, iterations = _aided(problem.take(slice(row, row + 1)), labels[int(row)])
            outcome.state.put(slice(row, row + 1), found)
            outcome.iterations[row] += iterations
    return outcome.state, outcome.iterations


def _aided(problem: Problem, sample: object) -> tuple[State, int]:
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
        f"no operating point for sample {sample}: {node} would not settle "
        f"(last step {worst.max(initial=0.0):.3g} V after {total} iterations); "
        "look at the parts around it, and for loops of voltage sources"
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
