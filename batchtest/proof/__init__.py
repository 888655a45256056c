"""Before power: outputs off, nothing charged, needles that touch, the right cable, no short. Here proofs are made."""

from batchtest.proof.gate import Announce, Enter, identify, prove
from batchtest.proof.proof import Proof

__all__ = ["Announce", "Enter", "Proof", "identify", "prove"]
