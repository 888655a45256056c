"""The bench: instruments over VISA, each spoken to in its dialect and proven who it is; off on every way out."""

from batchtest.bench.bench import Bench
from batchtest.bench.handler import Handler
from batchtest.bench.link import Link, Trace
from batchtest.bench.load import Load, LoadState
from batchtest.bench.meter import Meter, RawValues
from batchtest.bench.registers import Status
from batchtest.bench.scanner import Scanner
from batchtest.bench.supply import Supply, SupplyState

__all__ = [
    "Bench",
    "Handler",
    "Link",
    "Load",
    "LoadState",
    "Meter",
    "RawValues",
    "Scanner",
    "Status",
    "Supply",
    "SupplyState",
    "Trace",
]
