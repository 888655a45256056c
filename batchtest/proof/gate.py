"""The gate: work through the unpowered actions of a procedure; what comes out is a proof, a bad board, or a refusal.

Every reading is recorded. What it says of the bench (reference), of cable and fixture (needles, id, residual
voltage) or of the board (cold checks) is kept apart: `BenchError`, `NotProven`, or no proof for this board.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

from batchtest.bench import Bench
from batchtest.errors import BenchError, NotProven
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement, Reading, Verdict
from batchtest.procedure.actions import (
    Action,
    CheckCold,
    Discharge,
    Identify,
    MakeSafe,
    Procedure,
    ProveContact,
    ReadReference,
    ReadResidual,
)
from batchtest.proof.proof import Proof, seal_proof
from batchtest.quantities import show

Enter = Callable[[Measurement, Reading], Line]
Announce = Callable[[Action], None]

#: A board still above this is fed from somewhere: the discharge resistor is not put across it, V.
FED_V = 5.0
#: How long residual charge is given to bleed off before the board counts as live, s.
BLEED_S = 10.0
#: Between two looks at residual charge, s.
LOOK_S = 0.2
#: A voltage that has risen by more than this since the discharge is fed from somewhere, V.
RISE_V = 0.01


def prove(
    bench: Bench, reader: Reader, procedure: Procedure, serial: str, *, enter: Enter, announce: Announce
) -> Proof | None:
    """Work through the gate of a procedure for one board. It ends unpowered.

    Returns
    -------
    The proof, or `None` where the board failed its cold checks (or a doubt was left): it is never powered.

    Raises
    ------
    NotProven : cable or fixture are not shown to be right, or a point is still live.
    BenchError : the bench cannot be trusted to tell.
    """
    contact = bench.contact
    work = _Gate(bench, reader, enter)
    for action in procedure.gate:
        announce(action)
        if not work.do(action):
            return None
    return seal_proof(serial=serial, contact=contact)


def identify(reader: Reader, action: Identify, *, enter: Enter) -> None:
    """Read the cable's id resistor, and refuse a cable that is not the fixture's.

    Raises
    ------
    NotProven : the reading is not inside the window of the cable that the fixture wants.
    """
    for measurement in action.measurements:
        line = enter(measurement, reader.read(measurement))
        if not _passed(line):
            raise NotProven(
                f"{measurement.name}: {_shown(line)}, expected about {show(measurement.expected, 'ohm')}; "
                "the cable fitted is not the fixture's, or is not seated. Nothing was powered."
            )


@dataclass(slots=True)
class _Gate:
    bench: Bench
    reader: Reader
    enter: Enter
    discharged_at: float = 0.0
    after_discharge: dict[str, float] = field(default_factory=dict)

    def do(self, action: Action) -> bool:
        """Do one action; `False` where the board is bad and must stay unpowered."""
        match action:
            case MakeSafe():
                self.bench.make_safe()
                self.reader.forget()
            case ReadReference():
                self.read_reference(action)
            case ReadResidual():
                self.read_residual(action)
            case Discharge():
                self.discharge(action)
            case ProveContact():
                self.prove_contact(action)
            case Identify():
                identify(self.reader, action, enter=self.enter)
            case CheckCold():
                return self.check_cold(action)
            case _:
                raise AssertionError(f"{action.title!r} does not belong into a gate")
        return True

    def read_reference(self, action: ReadReference) -> None:
        for measurement in action.measurements:
            line = self.enter(measurement, self.reader.reference(measurement))
            if not _passed(line):
                raise BenchError(
                    f"{measurement.name}: the known {show(measurement.expected, 'V')} reads {_shown(line)}; "
                    "meter or scanner path is at fault, no zero can be trusted"
                )

    def read_residual(self, action: ReadResidual) -> None:
        self.bench.clock.wait_until(self.discharged_at + action.rest_s)
        for measurement in action.measurements:
            reading = self.bled(measurement)
            line = self.enter(measurement, reading)
            if measurement.limit is None:
                self.refuse_fed(line)
            elif not _passed(line):
                raise NotProven(f"{measurement.point}: {_shown(line)} with the outputs off; treat the board as live")
            self.refuse_rising(line)

    def bled(self, measurement: Measurement) -> Reading:
        """Read a residual voltage, again until it is low enough or its time is over."""
        lowest = FED_V if measurement.limit is None else measurement.limit.upper or 0.0
        deadline = self.bench.clock.now() + BLEED_S
        reading = self.reader.read(measurement)
        while reading.value is not None and abs(reading.value) > lowest and self.bench.clock.now() < deadline:
            self.bench.clock.sleep(LOOK_S)
            reading = self.reader.read(measurement)
        return reading

    def refuse_fed(self, line: Line) -> None:
        if line.reading.value is None or abs(line.reading.value) > FED_V:
            raise NotProven(
                f"{line.measurement.point}: {_shown(line)} with the outputs off after {BLEED_S:.0f} s; "
                "something feeds the board, treat it as live"
            )

    def refuse_rising(self, line: Line) -> None:
        earlier = self.after_discharge.get(line.measurement.point)
        if earlier is not None and line.reading.value is not None and abs(line.reading.value) > abs(earlier) + RISE_V:
            raise NotProven(
                f"{line.measurement.point}: rose from {show(earlier, 'V')} to {_shown(line)} after the discharge; "
                "something feeds the board, treat it as live"
            )

    def discharge(self, action: Discharge) -> None:
        self.bench.scanner.close(action.channel)
        self.bench.clock.sleep(action.on_s)
        self.bench.scanner.open_all()
        self.discharged_at = self.bench.clock.now()
        for measurement in action.measurements:
            line = self.enter(measurement, self.reader.read(measurement))
            if line.reading.value is not None:
                self.after_discharge[measurement.point] = line.reading.value

    def prove_contact(self, action: ProveContact) -> None:
        for measurement, channel in zip(action.measurements, action.channels, strict=True):
            line = self.enter(measurement, self.reader.contact(measurement, channel))
            if not _passed(line):
                raise NotProven(
                    f"{measurement.name}: {_shown(line)} between its two needles; they do not both touch, "
                    "and a zero there would mean nothing. Clean or seat them."
                )

    def check_cold(self, action: CheckCold) -> bool:
        lines = [self.enter(measurement, self.reader.settled(measurement)) for measurement in action.measurements]
        return all(_passed(line) for line in lines)


def _passed(line: Line) -> bool:
    return line.judgement is not None and line.judgement.verdict is Verdict.PASS


def _shown(line: Line) -> str:
    reading = line.reading
    if reading.beyond is not None:
        return f"more than {show(reading.beyond, reading.unit)}"
    return show(reading.value, reading.unit)
