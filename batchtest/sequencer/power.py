"""Power on and power off. Nothing here runs without a proof; every way out leaves the outputs off."""

from __future__ import annotations

from dataclasses import dataclass

from batchtest.bench import Bench
from batchtest.errors import BenchError, NotProven, SafetyTrip
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement, Verdict, Waiver
from batchtest.procedure.actions import CheckInterlock, PowerDown, Procedure, SoftStart
from batchtest.proof import Announce, Enter, Proof, passed, read_again, require_interlock, shown
from batchtest.quantities import show

#: A point at or below this is safe to disconnect, V (extra-low voltage by far; local rules may ask for less).
SAFE_V = 1.0
#: How long a board is given to fall below that after the supply went off, s.
FALL_S = 10.0
#: Between two looks at a falling voltage, s.
LOOK_S = 0.2


@dataclass(frozen=True, slots=True)
class Hands:
    """What power is handled with: bench, reader, where readings are entered, who is told of actions, what is waived."""

    bench: Bench
    reader: Reader
    enter: Enter
    announce: Announce
    waivers: tuple[Waiver, ...] = ()


def power_up(proof: Proof, serial: str, procedure: Procedure, hands: Hands) -> None:
    """Spend the proof, read again what tells the cable best and what the instruments protect, and soft-start.

    Only so is a board powered.

    Raises
    ------
    NotProven : the proof is not for this board and moment, or the cable is not the one it was; nothing was powered.
    BenchError : the instruments' own limits are not as they were set; nothing was powered.
    SafetyTrip : a window does not hold, or the supply is still in its current limit; the outputs are off.
    """
    proof.spend(serial=serial, contact=hands.bench.contact)
    read_again(hands.reader, procedure, hands.waivers, enter=hands.enter)
    hands.bench.confirm_protection()
    for step in procedure.powered:
        if isinstance(step, SoftStart):
            hands.announce(step)
            hold_interlock(procedure, hands)
            hands.bench.scanner.open_all()
            _soft_start(step, hands)


def hold_interlock(procedure: Procedure, hands: Hands) -> None:
    """Read the interlock where the bench has one, before an output goes on and again at every step and load point.

    Raises
    ------
    NotProven : it is not closed; the outputs are off.
    """
    for action in procedure.gate:
        if isinstance(action, CheckInterlock):
            try:
                require_interlock(hands.reader, action, enter=hands.enter)
            except NotProven:
                hands.bench.off()
                raise


def _soft_start(step: SoftStart, hands: Hands) -> None:
    """Go to the step's voltage under its own current limit; after the inrush time the windows must hold."""
    bench = hands.bench
    bench.supply.set(step.volts, step.limit_A)
    if not bench.supply.is_on():
        bench.supply.on()
    since = bench.clock.now()
    bench.clock.sleep(step.inrush_s)
    state = bench.supply.measured()
    bench.confirm()
    if state.limiting:
        bench.off()
        raise SafetyTrip(
            f"soft start {show(step.volts, 'V', 3)}: supply still in its current limit of {show(step.limit_A, 'A')} "
            f"after {show(step.inrush_s, 's')}, at {show(state.volts, 'V')}; switched off"
        )
    for measurement in step.measurements:
        _hold(hands.enter(measurement, hands.reader.settled(measurement, since)), bench)


def _hold(line: Line, bench: Bench) -> None:
    """A window that does not hold, or was not read, leaves nothing powered."""
    if line.judgement is not None and line.judgement.verdict in (Verdict.FAIL, Verdict.UNREAD):
        bench.off()
        raise SafetyTrip(f"{line.measurement.name}: {line.judgement.why}; switched off")


def power_down(action: PowerDown, hands: Hands) -> None:
    """Outputs off and read back, discharge, and every point measured until it is safe to disconnect.

    Raises
    ------
    OutputsNotOff : an output cannot be read back as off.
    BenchError : a point stays live, or the known voltage is not read right; nobody may disconnect.
    """
    bench = hands.bench
    bench.off()
    bench.scanner.close(action.channel)
    bench.clock.sleep(action.on_s)
    bench.scanner.open_all()
    deadline = bench.clock.now() + FALL_S
    for measurement in action.measurements:
        if measurement.limit is None:
            _see_dead(measurement, hands, deadline)
        elif not passed(line := hands.enter(measurement, hands.reader.reference(measurement))):
            raise BenchError(
                f"{measurement.name}: the known {show(measurement.expected, 'V')} reads {shown(line)}; no zero can be "
                "trusted. Treat the board as live, do not disconnect it"
            )


def _see_dead(measurement: Measurement, hands: Hands, deadline: float) -> None:
    """Read a point until it is safe, or its time is up."""
    clock, reader = hands.bench.clock, hands.reader
    reading = reader.read(measurement)
    while reading.value is not None and abs(reading.value) > SAFE_V and clock.now() < deadline:
        clock.sleep(LOOK_S)
        reading = reader.read(measurement)
    hands.enter(measurement, reading)
    if reading.value is None or abs(reading.value) > SAFE_V:
        raise BenchError(
            f"{measurement.point}: {show(reading.value, 'V')} after power-down; treat the board as live, "
            "do not disconnect it"
        )
