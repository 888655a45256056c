"""What explains cold readings that are not the right cable's: another cable, a fault inside it, or a bad board."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache, cached_property
from typing import Literal

from batchtest.cables.readings import ColdBench, ColdCircuit, ColdReading, Expected, Harness
from batchtest.cables.signature import INSTRUMENTS, SIGMAS, PinReading, Signature, inside, within
from batchtest.cables.wiring import WiringFault, in_words, wiring_faults
from batchtest.errors import NoOperatingPoint
from batchtest.files.cable import CableFile
from batchtest.nouns import Reading

#: How far a reading may lie from that of one nominal board with a fault, as a share of it: part tolerances.
TOLERANCE = 0.1
#: How many explanations are named; more say nothing.
NAMED = 3

Kind = Literal["cable", "wiring", "fixture", "board", "unknown"]


@dataclass(frozen=True, slots=True)
class Explanation:
    """What a set of readings looks like.

    Parameters
    ----------
    kind : another cable of the library; a fault in the right one, or of the fixture; a bad board; none that is known.
    words : such as "reads like mist-lead: its pink wire (PK), board pin 6, goes to host pin 6, not 5".
    cable : the cable of the library that it looks like, or "".
    """

    kind: Kind
    words: str
    cable: str = ""


#: What nothing known explains.
UNKNOWN = Explanation("unknown", "reads like no cable of the library, nor like one with a single fault")


@dataclass(frozen=True)
class Suspects:
    """A fixture's cable, its signature, and everything else that may lie in the fixture instead.

    `checks` are the board's own cold checks: they tell a bad board from a bad cable where the signature cannot.
    """

    harness: Harness
    cables: Mapping[str, CableFile]
    signature: Signature
    checks: tuple[PinReading, ...] = ()
    _known: dict[tuple[str, str], Expected] = field(default_factory=dict, repr=False, compare=False)

    def explain(
        self, readings: Mapping[str, Reading], *, trusted: bool = False, cables_only: bool = False
    ) -> Explanation:
        """Look for what all readings agree with, the likeliest first.

        A cable of the library comes first. A bad board is the explanation only where no wire leads astray and no part
        of the fixture has failed: a wire that is merely cut leaves a board unpowered at worst, and is named beside it.
        Where cable and fixture were right with the board before, a bad board comes before a fault of theirs.

        Parameters
        ----------
        readings : by name, of the signature and of the checks; at least one is out of its window.
        trusted : whether this cable was proven with the board before.
        cables_only : look at the cables of the library alone.
        """
        others = [name for name in self._library(readings) if name != self.signature.cable]
        if others:
            own = self.cables[self.signature.cable]
            described = [f"{name}: {in_words(own, self.cables[name])}" for name in others]
            return Explanation("cable", f"reads like {' or '.join(described)}", others[0])
        if cables_only:
            return UNKNOWN
        wiring, fixture = list(self._wiring(readings)), list(self._parts(readings, "host"))
        harmless = not fixture and all(fault.open for fault in wiring)
        board = list(self._parts(readings, "board")) if trusted or harmless else []
        looks = [f"a board with {_listed(board)}"] if board else []
        looks += [f"{self.signature.cable} in which {_listed([fault.what for fault in wiring])}"] if wiring else []
        looks += [f"{self.harness.host.name} with {_listed(fixture)}"] if fixture else []
        kind: Kind = "board" if board else "wiring" if wiring else "fixture" if fixture else "unknown"
        return Explanation(kind, f"reads like {', or '.join(looks)}") if looks else UNKNOWN

    @cached_property
    def _right(self) -> ColdCircuit:
        """The right cable with a nominal board."""
        return self.harness.once(self.cables[self.signature.cable])

    def _library(self, readings: Mapping[str, Reading]) -> Iterator[str]:
        for name in self.cables:
            circuit = self.harness.circuit(name, self.cables[name])
            if self._agrees(readings, lambda pin, circuit=circuit: circuit.expected(pin.reading)):  # type: ignore[misc]
                yield name

    def _wiring(self, readings: Mapping[str, Reading]) -> Iterator[WiringFault]:
        own, pins = self.cables[self.signature.cable], len(self.harness.host.netlist.ports)
        for fault in (*_unplugged(own), *wiring_faults(own, pins)):
            if self._agrees(readings, self._with(fault.what, fault.cable), TOLERANCE):
                yield fault

    def _parts(self, readings: Mapping[str, Reading], place: Literal["host", "board"]) -> Iterator[str]:
        """Single faults of the parts of fixture ("host") or board."""
        own = self.cables[self.signature.cable]
        parts = (self.harness.host if place == "host" else self.harness.board).parts.part
        for name, part in parts.items():
            for mode in part.modes:
                fault = f"{place}.{name} {mode}"
                if self._agrees(readings, self._with(fault, own, fault), TOLERANCE):
                    yield f"{name} {mode}"

    def _with(self, what: str, cable: CableFile, fault: str = "") -> Callable[[PinReading], Expected]:
        """What a reading is with a fault, of the cable or of a part. It is solved once: a batch asks more than once."""
        circuit = cache(lambda: self.harness.once(cable, fault, self._right))

        def expect(pin: PinReading) -> Expected:
            if (what, pin.name) not in self._known:
                self._known[what, pin.name] = circuit().expected(pin.reading)
            return self._known[what, pin.name]

        return expect

    def _agrees(
        self, readings: Mapping[str, Reading], expect: Callable[[PinReading], Expected], tolerance: float = 0.0
    ) -> bool:
        """Whether all readings agree with an expectation; those that are out of the right window are tried first.

        What would read as the right cable does explains none of those; a check has its limits by the board, not by what
        may be wrong with a cable, and only has to agree.
        """
        try:
            for pin in _telling_first((*self.signature.readings, *self.checks), readings):
                got, expected = readings[pin.name], expect(pin)
                if not agrees(self.harness.cold, pin.reading, got, expected, tolerance):
                    return False
                if pin in self.checks or _inside(pin, got):
                    continue
                if expected.certain and within(pin.limit, expected):
                    return False
        except NoOperatingPoint:
            return False
        return True


def agrees(cold: ColdBench, reading: ColdReading, got: Reading, expected: Expected, tolerance: float = 0.0) -> bool:
    """Whether a reading may be what is expected: within drawn boards, meter, contact and a share of the value.

    No reading agrees with nothing. Where some drawn boards are over range and others are not, either is as expected.
    """
    if got.beyond is not None:
        return expected.value is None or not expected.certain
    if got.value is None:
        return False
    if expected.value is None:
        return False
    if not expected.certain:
        return True
    half = SIGMAS * expected.sigma + INSTRUMENTS * cold.half_width(reading, expected.value)
    return abs(got.value - expected.value) <= half + cold.contact(reading) + tolerance * abs(expected.value)


def _telling_first(pins: Sequence[PinReading], readings: Mapping[str, Reading]) -> list[PinReading]:
    read = [pin for pin in pins if pin.name in readings]
    return sorted(read, key=lambda pin: _inside(pin, readings[pin.name]))


def _inside(pin: PinReading, got: Reading) -> bool:
    if got.value is None:
        return got.beyond is not None and pin.limit.upper is None
    return inside(pin.limit, got.value)


def _unplugged(cable: CableFile) -> Iterator[WiringFault]:
    """Not seated at the one end or the other, and an id resistor that has come off."""
    nothing = {"wires": (), "id_resistor": None}
    yield WiringFault("nothing is plugged in at the host end", cable.model_copy(update=nothing))
    yield WiringFault("nothing is plugged in at the board end", cable.model_copy(update={"wires": ()}))
    if cable.id_resistor is not None:
        yield WiringFault("the id resistor is off", cable.model_copy(update={"id_resistor": None}))


def _listed(found: Sequence[str]) -> str:
    named = list(found[:NAMED])
    more = len(found) - len(named)
    return " or ".join(named) + (f" or {more} more" if more > 0 else "")
