"""Working through what shows that nothing is live: known voltage, residual voltage, discharge, needles that touch.

What it says of the bench (`BenchError`) is kept apart from what it says of fixture and plug (`NotProven`).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

from batchtest.bench import Bench
from batchtest.errors import BenchError, NotProven
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement, Reading, Waiver
from batchtest.procedure.actions import (
    Action,
    CheckInterlock,
    Discharge,
    MakeSafe,
    ProveContact,
    ReadReference,
    ReadResidual,
)
from batchtest.proof.entering import Enter, passed, shown
from batchtest.proof.interlock import require_interlock
from batchtest.quantities import show

#: What is still above this is fed from somewhere: the discharge resistor is not put across it, V.
FED_V = 5.0
#: How long residual charge is given to bleed off before it counts as live, s.
BLEED_S = 10.0
#: A residual voltage that still falls is waited for until it is at this share of its limit.
INSIDE = 0.5
#: Between two looks at residual charge, s.
LOOK_S = 0.2
#: A voltage that has risen by more than this since the discharge is fed from somewhere, V.
RISE_V = 0.01


@dataclass(slots=True)
class Deadness:
    """Does the actions that show something to be dead; `what` is called live where it is not: "the board"."""

    bench: Bench
    reader: Reader
    enter: Enter
    what: str
    waivers: Sequence[Waiver] = ()
    discharged_at: float = 0.0
    after_discharge: dict[str, float] = field(default_factory=dict)

    def do(self, action: Action) -> None:
        """Do one action.

        Raises
        ------
        NotProven : needles do not touch, the interlock is open, or a point is live.
        BenchError : the known voltage is not read right.
        """
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
            case CheckInterlock():
                require_interlock(self.reader, action, enter=self.enter)
            case _:
                raise AssertionError(f"{action.title!r} does not show anything to be dead")

    def read_reference(self, action: ReadReference) -> None:
        """Read the known voltage; raises BenchError where it is not right."""
        for measurement in action.measurements:
            line = self.enter(measurement, self.reader.reference(measurement))
            if not passed(line):
                raise BenchError(
                    f"{measurement.name}: the known {show(measurement.expected, 'V')} reads {shown(line)}; "
                    "meter or scanner path is at fault, no zero can be trusted"
                )

    def read_residual(self, action: ReadResidual) -> None:
        """Read every point until its charge has bled off; raises NotProven where one stays live or rises."""
        self.bench.clock.wait_until(self.discharged_at + action.rest_s)
        for measurement in action.measurements:
            reading = self.bled(measurement)
            line = self.enter(measurement, reading)
            if measurement.limit is None:
                self._refuse_fed(line)
            elif not passed(line):
                raise NotProven(f"{measurement.point}: {shown(line)} with the outputs off; treat {self.what} as live")
            self._refuse_rising(line)

    def bled(self, measurement: Measurement, most_s: float = BLEED_S) -> Reading:
        """Read a residual voltage, again until it is well inside its limit, clear of the guard band, or time is up."""
        lowest = FED_V if measurement.limit is None else INSIDE * (measurement.limit.upper or 0.0)
        deadline = self.bench.clock.now() + most_s
        reading = self.reader.read(measurement)
        while reading.value is not None and abs(reading.value) > lowest and self.bench.clock.now() < deadline:
            self.bench.clock.sleep(LOOK_S)
            reading = self.reader.read(measurement)
        return reading

    def discharge(self, action: Discharge) -> None:
        """The discharge resistor on, off again, and what is left."""
        self.bench.scanner.close(action.channel)
        self.bench.clock.sleep(action.on_s)
        self.bench.scanner.open_all()
        self.discharged_at = self.bench.clock.now()
        for measurement in action.measurements:
            line = self.enter(measurement, self.reader.read(measurement))
            if line.reading.value is not None:
                self.after_discharge[measurement.point] = line.reading.value

    def prove_contact(self, action: ProveContact) -> None:
        """Read each pair of needles; raises NotProven where two do not both touch."""
        for measurement, channel in zip(action.measurements, action.channels, strict=True):
            line = self.enter(measurement, self.reader.contact(measurement, channel))
            if not passed(line, self.waivers):
                raise NotProven(
                    f"{measurement.name}: {shown(line)} between its two needles; they do not both touch, "
                    "and a zero there would mean nothing. Clean or seat them."
                )

    def _refuse_fed(self, line: Line) -> None:
        if line.reading.value is None or abs(line.reading.value) > FED_V:
            raise NotProven(
                f"{line.measurement.point}: {shown(line)} with the outputs off after {BLEED_S:.0f} s; "
                f"something feeds {self.what}, treat it as live"
            )

    def _refuse_rising(self, line: Line) -> None:
        earlier = self.after_discharge.get(line.measurement.point)
        if earlier is not None and line.reading.value is not None and abs(line.reading.value) > abs(earlier) + RISE_V:
            raise NotProven(
                f"{line.measurement.point}: rose from {show(earlier, 'V')} to {shown(line)} after the discharge; "
                f"something feeds {self.what}, treat it as live"
            )
