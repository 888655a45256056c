"""A host's accessory outlet, simulated: what is in series with it warms, trips and remembers, on the bench's clock."""

from batchtest.simulated.outlet.rack import OutletRack
from batchtest.simulated.outlet.truth import OutletTruth

__all__ = ["OutletRack", "OutletTruth"]
