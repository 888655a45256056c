"""Before power: outputs off, nothing charged, needles that touch, the right cable, no short. Here proofs are made."""

from batchtest.proof.cable import Memory, read_again
from batchtest.proof.dead import Deadness
from batchtest.proof.entering import Announce, Enter, passed, shown
from batchtest.proof.gate import prove
from batchtest.proof.host_map import HostSwitch, prove_host, show_dead
from batchtest.proof.interlock import require_interlock
from batchtest.proof.proof import HostProof, Proof

__all__ = [
    "Announce",
    "Deadness",
    "Enter",
    "HostProof",
    "HostSwitch",
    "Memory",
    "Proof",
    "passed",
    "prove",
    "prove_host",
    "read_again",
    "require_interlock",
    "show_dead",
    "shown",
]
