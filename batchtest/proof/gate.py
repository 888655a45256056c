"""The gate: work through the unpowered actions of a procedure; what comes out is a proof, a bad board, or a refusal.

Every reading is recorded. What it says of the bench (reference), of cable and fixture (needles, id, residual
voltage) or of the board (cold checks) is kept apart: `BenchError`, `NotProven`, or no proof for this board.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from batchtest.bench import Bench
from batchtest.measuring import Reader
from batchtest.nouns import Waiver
from batchtest.procedure.actions import Action, CheckCold, Identify, Procedure, ProvePinMap
from batchtest.proof.cable import Cable, Memory
from batchtest.proof.dead import Deadness
from batchtest.proof.entering import Announce, Enter, passed
from batchtest.proof.proof import Proof, seal_proof


def prove(
    bench: Bench,
    reader: Reader,
    procedure: Procedure,
    serial: str,
    *,
    memory: Memory,
    waivers: Sequence[Waiver] = (),
    enter: Enter,
    announce: Announce,
) -> Proof | None:
    """Work through the gate of a procedure for one board. It ends unpowered.

    Parameters
    ----------
    memory : what the board before showed of the cable.
    waivers : those in force; a reading that one of them excuses need not pass.

    Returns
    -------
    The proof, or `None` where the board failed its cold checks (or a doubt was left): it is never powered.

    Raises
    ------
    NotProven : cable or fixture are not shown to be right, or a point is still live.
    BenchError : the bench cannot be trusted to tell.
    """
    contact = bench.contact
    dead = Deadness(bench, reader, enter, "the board", waivers)
    work = _Gate(reader, enter, dead, Cable(reader, procedure.suspects, memory, waivers, enter))
    for action in procedure.gate:
        announce(action)
        if not work.do(action):
            return None
    if not work.cable.settled([]):
        return None
    return seal_proof(serial=serial, contact=contact)


@dataclass(slots=True)
class _Gate:
    reader: Reader
    enter: Enter
    dead: Deadness
    cable: Cable

    def do(self, action: Action) -> bool:
        """Do one action; `False` where the board is bad and must stay unpowered."""
        match action:
            case Identify() | ProvePinMap():
                self.cable.read(action)
            case CheckCold():
                return self.check_cold(action)
            case _:
                self.dead.do(action)
        return True

    def check_cold(self, action: CheckCold) -> bool:
        lines = [self.enter(measurement, self.reader.settled(measurement)) for measurement in action.measurements]
        return self.cable.settled(lines) and all(passed(line) for line in lines)
