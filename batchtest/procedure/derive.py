"""A setup becomes the procedure: people write what must hold and how it is reached, the order is worked out here."""

from __future__ import annotations

from batchtest.files.library import Setup
from batchtest.procedure.actions import CheckCold, Procedure
from batchtest.procedure.cable import suspects_of, with_checks
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
    actions = gate(nominal, suspects.signature, times)
    checks = (one for action in actions if isinstance(action, CheckCold) for one in action.measurements)
    return Procedure(
        board=setup.board,
        fixture=setup.fixture_name,
        bench=setup.bench_name,
        suspects=with_checks(suspects, checks),
        gate=actions,
        powered=powered(nominal, times),
    )
