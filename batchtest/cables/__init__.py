"""What a cable does between host and board: told from others by cold readings, wired wrong inside, burning things."""

from batchtest.cables.apart import APART
from batchtest.cables.explain import Explanation, Suspects
from batchtest.cables.ids import Proposal, propose
from batchtest.cables.readings import ColdBench, ColdReading, Expected, Harness
from batchtest.cables.signature import PinReading, Signature, sign

__all__ = [
    "APART",
    "ColdBench",
    "ColdReading",
    "Expected",
    "Explanation",
    "Harness",
    "PinReading",
    "Proposal",
    "Signature",
    "Suspects",
    "propose",
    "sign",
]
