"""Fault tables for tests: of a few faults, made once in a process, and records of boards with them."""

from __future__ import annotations

from contextlib import suppress
from functools import cache, lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from stations import demo_setup, derive_once, stand

from batchtest.diagnosis import FaultTable, build_table
from batchtest.diagnosis.faults import Fault, faults
from batchtest.diagnosis.readings import plan_of
from batchtest.diagnosis.solving import Solver
from batchtest.errors import NotProven
from batchtest.nouns import Attempt, Line

#: The good board and what a handful of records may be explained by.
AMONG = (
    "good",
    "R5B open",
    "R5A short",
    "DZ12 open",
    "RL5 short",
    "RS12 short",
    "Q5 open-b",
    "Q5 open-e",
    "QL12 open-b",
    "R5B is 2.7 kohm",
    "b12-v12 bridged",
    "host.DS1 open",
    "host.DS2 open",
    "host.DS3 open",
    "cable: YE is cut",
)


@cache
def all_faults() -> dict[str, Fault]:
    """Every fault of the vent board in its nest, by name."""
    return {one.hypothesis.name: one for one in faults(demo_setup())}


@cache
def small_table() -> FaultTable:
    """The table of a few faults of the vent board, and of the bench's own."""
    setup = demo_setup()
    return build_table(setup, derive_once(setup), among=[all_faults()[name] for name in AMONG], workers=1)


@cache
def small_solver() -> Solver:
    """What solves the faults of the vent board, the good one solved already."""
    setup = demo_setup()
    return Solver(setup, plan_of(setup, derive_once(setup)), all_faults()["good"])


@lru_cache
def attempt_at(fault: str) -> Attempt:
    """The attempt at a board with one fault ("" is a good one), on the simulated bench, with all its lines."""
    with TemporaryDirectory() as folder, stand(Path(folder), demo_setup({"VN-0001": fault})) as found:
        found.station.memory.proven = True
        [attempt] = found.attempts(["VN-0001"])
    return attempt


@lru_cache
def refused_at(fault: str) -> tuple[Line, ...]:
    """The lines of an attempt that is refused for its cable or fixture."""
    with TemporaryDirectory() as folder, stand(Path(folder), demo_setup({"VN-0001": fault})) as found:
        with suppress(NotProven):
            found.test("VN-0001")
        return tuple(found.watcher.lines)
