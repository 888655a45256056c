"""A board's circuit solved: netlists joined over a cable, DC operating points of batches of boards, part faults."""

from batchtest.circuits.assembly import Assembly, alone, join
from batchtest.circuits.bench_model import BenchModel
from batchtest.circuits.faults import with_fault
from batchtest.circuits.sources import OFF, Drive, LimitedSource
from batchtest.circuits.system import Solution, System
from batchtest.circuits.values import draw_values, nominal_values

__all__ = [
    "OFF",
    "Assembly",
    "BenchModel",
    "Drive",
    "LimitedSource",
    "Solution",
    "System",
    "alone",
    "draw_values",
    "join",
    "nominal_values",
    "with_fault",
]
