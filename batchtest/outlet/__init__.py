"""The accessory output of a host under load: what it can really carry. It drives the bench, once the host is proven."""

from batchtest.outlet.known import currents_of, known_of
from batchtest.outlet.plan import OutletProcedure, derive_outlet, full_of
from batchtest.outlet.station import FuseMover, OutletStation, load_test

__all__ = [
    "FuseMover",
    "OutletProcedure",
    "OutletStation",
    "currents_of",
    "derive_outlet",
    "full_of",
    "known_of",
    "load_test",
]
