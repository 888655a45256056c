"""The fault table of a board in its nest: every fault solved once, on as many processors as are asked for."""

from __future__ import annotations

import multiprocessing
import os
from collections.abc import Callable, Sequence
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing.connection import wait
from threading import Thread

import numpy as np

from batchtest.diagnosis.bench_faults import bench_faults
from batchtest.diagnosis.cache import key_of
from batchtest.diagnosis.faults import Fault, faults
from batchtest.diagnosis.model import FaultTable, Hypothesis
from batchtest.diagnosis.readings import Plan, plan_of
from batchtest.diagnosis.solving import Solved, Solver
from batchtest.files.library import Setup
from batchtest.procedure import Procedure

#: Told how many faults of how many are solved.
Progress = Callable[[int, int], None]
#: Faults that one process solves between two tellings.
_CHUNK = 8
#: What is not known of needles and instruments, beside the knobs of `solving`.
_BENCH_KNOBS = 2


def build_table(
    setup: Setup,
    procedure: Procedure,
    *,
    progress: Progress | None = None,
    workers: int = 2,
    among: Sequence[Fault] | None = None,
) -> FaultTable:
    """Solve every fault.

    Parameters
    ----------
    progress : told as it goes; called in this process.
    workers : processes; 1 solves in this one.
    among : the faults to solve, the good board first, instead of all there are.

    Raises
    ------
    NoOperatingPoint : the good board has none.
    """
    plan = plan_of(setup, procedure)
    everything = list(faults(setup) if among is None else among)
    tell = progress or (lambda _done, _total: None)
    one = workers == 1
    found = _here(setup, plan, everything, tell) if one else _apart(setup, plan, everything, tell, workers)
    solved = [_with_bench_knobs(each) for each in found]
    rows = list(zip((fault.hypothesis for fault in everything), solved, strict=True))
    rows += bench_faults(solved[0], plan, setup.fixture)
    return _table(setup, plan, rows)


def _here(setup: Setup, plan: Plan, everything: Sequence[Fault], tell: Progress) -> list[Solved]:
    solver = Solver(setup, plan, everything[0])
    found = [solver.good]
    for done, fault in enumerate(everything[1:], start=2):
        found.append(solver.solve(fault))
        tell(done, len(everything))
    return found


def _apart(setup: Setup, plan: Plan, everything: Sequence[Fault], tell: Progress, workers: int) -> list[Solved]:
    """In processes of their own; each solves the good board once for itself."""
    count = len(everything)
    chunks = [range(begin, min(begin + _CHUNK, count)) for begin in range(0, count, _CHUNK)]
    found: list[Solved | None] = [None] * count
    context = multiprocessing.get_context("spawn")
    with ProcessPoolExecutor(workers, context, initializer=_begin, initargs=(setup, plan, everything)) as pool:
        waiting = {pool.submit(_work, chunk): chunk for chunk in chunks}
        done = 0
        for future in as_completed(waiting):
            for index, one in zip(waiting[future], future.result(), strict=True):
                found[index] = one
            done += len(waiting[future])
            tell(done, count)
    return [one for one in found if one is not None]


class _Own:
    """What a process of the pool keeps for itself."""

    solver: Solver
    faults: Sequence[Fault]


def _begin(setup: Setup, plan: Plan, everything: Sequence[Fault]) -> None:
    Thread(target=_end_with_parent, daemon=True).start()
    _Own.faults = everything
    _Own.solver = Solver(setup, plan, everything[0])


def _end_with_parent() -> None:
    """A process of the pool waits for work for ever, though nobody is left to send any; so it ends by itself."""
    parent = multiprocessing.parent_process()
    if parent is not None:
        wait([parent.sentinel])
        os._exit(1)


def _work(chunk: range) -> list[Solved]:
    return [_Own.solver.good if index == 0 else _Own.solver.solve(_Own.faults[index]) for index in chunk]


def _with_bench_knobs(one: Solved) -> Solved:
    columns = len(one.mean)
    one.spread = np.concatenate([one.spread, np.zeros((columns, _BENCH_KNOBS))], axis=1)
    return one


def _table(setup: Setup, plan: Plan, rows: Sequence[tuple[Hypothesis, Solved]]) -> FaultTable:
    solved = [one for _, one in rows]
    return FaultTable(
        key=key_of(setup),
        board=setup.board,
        fixture=setup.fixture_name,
        hypotheses=tuple(hypothesis for hypothesis, _ in rows),
        columns=plan.columns,
        spots=plan.spots,
        states=tuple(state.name for state in plan.powered),
        mean=np.array([one.mean for one in solved]),
        rough=np.array([one.rough for one in solved]),
        spread=np.array([one.spread for one in solved], np.float32),
        over=np.array([one.over for one in solved]),
        limiting=np.array([one.limiting for one in solved]),
    )
