"""Faults on demand: which befalls which message of one simulated instrument, and what it does there.

What happens to a reply on its way is a `Mishap`, left for the transport; everything else is done to the instrument.
"""

from __future__ import annotations

import re
from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from fnmatch import fnmatchcase
from random import Random
from typing import Protocol

from batchtest.files.bench_faults import BenchFault
from batchtest.simulated.mishaps import Mishap
from batchtest.simulated.wired import Wired

#: What garbage looks like where nothing else is said: a line of noise that no instrument would send.
GARBAGE = b"\x7f~3;1,,#@"
#: An ohm sign, as some meters put one behind the value; it is not ASCII.
OHM_SIGN = " Ω".encode()
#: The error that an instrument reports of itself (SCPI-99 volume 2, chapter 21).
SYSTEM_ERROR = -310
_NUMBER = re.compile(rb"(?<=[ ,])[-+]?\d+\.?\d*(?:[Ee][-+]?\d+)?")
#: A clipped set-point is this share of what was asked for.
_CLIPPED = 0.5

Run = Callable[[bytes, float], tuple[bytes, float]]


class Faulty(Protocol):
    """What a fault needs of the instrument that it befalls."""

    role: str
    rack: Wired
    moment: float

    def fail(self, number: int, detail: str = "") -> None:
        """Put an error into the queue."""
        ...

    def restart(self) -> None:
        """As after power-on."""
        ...


@dataclass(slots=True)
class _Counted:
    fault: BenchFault
    seen: int = 0


@dataclass(slots=True)
class Faults:
    """The faults of one instrument: counts its messages, and keeps its replies for those that repeat them.

    Attributes
    ----------
    mishaps : what is to befall the next replies, in their order; the transport takes from its left.
    struck : faults that have struck, in their order.
    """

    random: Random
    mishaps: deque[Mishap] = field(default_factory=deque)
    struck: list[BenchFault] = field(default_factory=list)
    _counted: list[_Counted] = field(default_factory=list)
    _replies: dict[str, bytes] = field(default_factory=dict)

    @classmethod
    def of(cls, faults: Sequence[BenchFault], role: str, seed: int) -> Faults:
        """Those of a bench file that are of one role."""
        made = cls(Random(f"{seed}/{role}/faults"))
        made.add(*[fault for fault in faults if fault.role == role])
        return made

    def add(self, *faults: BenchFault) -> None:
        """From now on these too; their messages are counted from here."""
        self._counted += [_Counted(fault) for fault in faults]

    def clear(self) -> None:
        """No fault any more, and no mishap that is still to come."""
        self._counted.clear()
        self.mishaps.clear()

    def carry_out(self, instrument: Faulty, message: bytes, now: float, run: Run) -> tuple[bytes, float]:
        """Have a message carried out by `run`, with the fault that is due on it; its reply, and when that is ready."""
        text = message.decode("latin-1").strip()
        fault = self._due(text)
        if fault is None:
            reply, ready_at = run(message, now)
        else:
            self.struck.append(fault)
            reply, ready_at = self._befall(fault, instrument, message, now, run)
        if reply:
            self._replies[text] = reply
        return reply, ready_at

    def _due(self, text: str) -> BenchFault | None:
        """The first fault that is due; all are counted."""
        due = [counted.fault for counted in self._counted if self._strikes(counted, text)]
        return due[0] if due else None

    def _strikes(self, counted: _Counted, text: str) -> bool:
        fault = counted.fault
        if not fnmatchcase(text.upper(), fault.message.upper()):
            return False
        if fault.kind == "stale value" and text not in self._replies:
            return False
        counted.seen += 1
        if fault.at is not None:
            return counted.seen == fault.at
        if fault.every is not None:
            return counted.seen % fault.every == 0
        return self.random.random() < float(fault.share or 0)

    def _befall(
        self, fault: BenchFault, instrument: Faulty, message: bytes, now: float, run: Run
    ) -> tuple[bytes, float]:
        match fault.kind:
            case "ignored command":
                return b"", now
            case "stale value":
                return self._replies[message.decode("latin-1").strip()], now
            case "clipped set-point":
                return run(_NUMBER.sub(_halved, message, count=1), now)
            case "front-panel key":
                run((fault.text or "").encode("ascii"), now)
                return run(message, now)
            case "over-range":
                reply, ready_at = run(message, now)
                spelt = "9.9E37" if fault.text is None else fault.text
                return ",".join([spelt] * (reply.count(b",") + 1)).encode() if reply else reply, ready_at
        reply, ready_at = run(message, now)
        if fault.kind in _TO_THE_INSTRUMENT:
            _TO_THE_INSTRUMENT[fault.kind](instrument, fault)
        if fault.kind in _TO_THE_REPLY:
            self.mishaps.append(_TO_THE_REPLY[fault.kind](fault, reply))
        return reply, ready_at


def _halved(number: re.Match[bytes]) -> bytes:
    return f"{_CLIPPED * float(number[0]):.9g}".encode()


def _restart(instrument: Faulty, fault: BenchFault) -> None:
    instrument.restart()
    instrument.moment += fault.lasts_s


def _trip(instrument: Faulty, _fault: BenchFault) -> None:
    rack = instrument.rack
    if instrument.role == "supply":
        rack.supply.on, rack.supply.tripped = False, True
    for load in rack.loads.values() if instrument.role == "load" else ():
        load.on, load.tripped = False, "current"
    rack.apply(instrument.moment)


def _back_on(instrument: Faulty, _fault: BenchFault) -> None:
    rack = instrument.rack
    if instrument.role == "supply":
        rack.supply.on = True
    for load in rack.loads.values() if instrument.role == "load" else ():
        load.on = True
    rack.apply(instrument.moment)


def _drop_input(instrument: Faulty, _fault: BenchFault) -> None:
    rack = instrument.rack
    if instrument.role == "supply":
        rack.supply.on = False
    for load in rack.loads.values() if instrument.role == "load" else ():
        load.on = False
    rack.apply(instrument.moment)


#: What is done to the instrument once it has carried out the message.
_TO_THE_INSTRUMENT: dict[str, Callable[[Faulty, BenchFault], None]] = {
    "restart": _restart,
    "silent restart": _restart,
    "error in the queue": lambda instrument, _fault: instrument.fail(SYSTEM_ERROR, "on demand"),
    "protection trip": _trip,
    "back on after a clear": _back_on,
    "input dropped": _drop_input,
}
#: What then befalls the reply on its way; a reply without a byte is the next one's.
_TO_THE_REPLY: dict[str, Callable[[BenchFault, bytes], Mishap]] = {
    "late reply": lambda fault, _: Mishap(late_s=fault.lasts_s),
    "cut reply": lambda fault, reply: Mishap(keep=len(reply) // 2 if fault.keep is None else fault.keep),
    "no terminator": lambda _fault, _: Mishap(no_ending=True),
    "slow drip": lambda fault, _: Mishap(drip_s=fault.lasts_s),
    "garbage": lambda fault, _: Mishap(garbage=fault.text.encode() if fault.text else GARBAGE),
    "non-ASCII": lambda _fault, reply: Mishap(garbage=reply + OHM_SIGN),
    "dropped connection": lambda _fault, _: Mishap(drop=True),
    "refused connection": lambda fault, _: Mishap(drop=True, refuse_s=fault.lasts_s),
    "restart": lambda _fault, _: Mishap(drop=True),
}
