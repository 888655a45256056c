"""A setup becomes the procedure: people write what must hold and how it is reached, the order is worked out here."""

from __future__ import annotations

from batchtest.files.library import Setup
from batchtest.procedure.actions import Procedure
from batchtest.procedure.cable import suspects_of
from batchtest.procedure.gate import gate
from batchtest.procedure.model import Nominal
from batchtest.procedure.powered import powered
from batchtest.procedure.times import Times


def derive(setup: Setup) -> Procedure:
    """Work out the ordered actions for one board type on one fixture and bench.

    Raises
    ------
    FileFaults : the fixture's cable cannot be told from another of the library.
    NoOperatingPoint : the joined circuit has no solution in one of the states the procedure needs.
    """
    suspects, nominal, times = suspects_of(setup), Nominal.of(setup), Times.of(setup.bench)
    return Procedure(
        board=setup.board,
        fixture=setup.fixture_name,
        bench=setup.bench_name,
        suspects=suspects,
        gate=gate(nominal, suspects.signature, times),
        powered=powered(nominal, times),
    )
