"""Load and supply of a scripted bench as a guardian has them, and waiting for what a guardian does."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from batchtest.bench.charge import Charged
from batchtest.bench.dialect import LoadDialect, SupplyDialect, load_dialect
from batchtest.bench.guarded import Guarded
from batchtest.nouns import Role
from test_bench.benches import ScriptedBench
from test_bench.links import manager


def wait_until(holds: Callable[[], bool], most_s: float = 20.0) -> None:
    """Wait until something holds."""
    deadline = time.monotonic() + most_s
    while not holds():
        assert time.monotonic() < deadline, "it never did"
        time.sleep(0.005)


@contextmanager
def charged(scripted: ScriptedBench) -> Iterator[list[Guarded]]:
    """Load and supply of a scripted bench as a guardian has them, its links open."""
    file = scripted.file
    tables = ((Role.LOAD, file.load, LoadDialect), (Role.SUPPLY, file.supply, SupplyDialect))
    with manager() as made:
        outputs = [
            Guarded(
                made,
                Charged(
                    role=role,
                    instrument=table,
                    dialect=load_dialect(table.dialect, kind),
                    identity=scripted.instruments[role].identity,
                ),
            )
            for role, table, kind in tables
        ]
        assert [output.look() for output in outputs] == ["", ""]
        yield outputs
        for output in outputs:
            output.close()
