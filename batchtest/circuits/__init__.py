"""A board's circuit solved: netlists joined over a cable, DC operating points of batches of boards, part faults."""

from batchtest.circuits.assembly import Assembly, alone, join
from batchtest.circuits.bench_model import BenchModel
from batchtest.circuits.currents import Stress, ratings_of, stresses, terminal_currents
from batchtest.circuits.faults import with_fault
from batchtest.circuits.outlet_model import OutletModel
from batchtest.circuits.sources import OFF, Drive, LimitedSource
from batchtest.circuits.system import Solution, System
from batchtest.circuits.values import draw_all, draw_values, nominal_values

__all__ = [
    "OFF",
    "Assembly",
    "BenchModel",
    "Drive",
    "LimitedSource",
    "OutletModel",
    "Solution",
    "Stress",
    "System",
    "alone",
    "draw_all",
    "draw_values",
    "join",
    "nominal_values",
    "ratings_of",
    "stresses",
    "terminal_currents",
    "with_fault",
]
