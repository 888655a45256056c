"""A setup becomes the procedure: people write what must hold and how it is reached, the order is worked out here."""

from __future__ import annotations

from batchtest.files.library import Setup
from batchtest.procedure.actions import Procedure
from batchtest.procedure.gate import gate
from batchtest.procedure.model import Nominal
from batchtest.procedure.powered import powered
from batchtest.procedure.times import Times


def derive(setup: Setup) -> Procedure:
    """Work out the ordered actions for one board type on one fixture and bench.

    Raises
    ------
    NoOperatingPoint : the joined circuit has no solution in one of the states the procedure needs.
    """
    nominal, times = Nominal.of(setup), Times.of(setup.bench)
    return Procedure(
        board=setup.board,
        fixture=setup.fixture_name,
        bench=setup.bench_name,
        gate=gate(nominal, times),
        powered=powered(nominal, times),
    )
