"""Power on and power off. Nothing here runs without a proof; every way out leaves the outputs off."""

from __future__ import annotations

from batchtest.bench import Bench
from batchtest.errors import BenchError, SafetyTrip
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurand, Verdict
from batchtest.procedure.actions import Identify, PowerDown, SoftStart
from batchtest.proof import Enter, Proof, identify
from batchtest.quantities import show

#: A point at or below this is safe to disconnect, V (extra-low voltage by far; local rules may ask for less).
SAFE_V = 1.0
#: How long a board is given to fall below that after the supply went off, s.
FALL_S = 10.0
#: Between two looks at a falling voltage, s.
LOOK_S = 0.2


def power_up(proof: Proof, serial: str, first: Identify, bench: Bench, reader: Reader, enter: Enter) -> None:
    """Spend the proof, read the id resistor once more, and leave the supply set to nothing, ready for the first step.

    Raises
    ------
    NotProven : the proof is not for this board and moment, or the cable is not the one it was.
    """
    proof.spend(serial=serial, contact=bench.contact)
    identify(reader, first, enter=enter)
    bench.scanner.open_all()


def soft_start(step: SoftStart, bench: Bench, reader: Reader, enter: Enter) -> None:
    """Go to the step's voltage under its own current limit; after the inrush time the windows must hold.

    Raises
    ------
    SafetyTrip : a window does not hold, or the supply is still in its current limit; the outputs are off.
    """
    bench.supply.set(step.volts, step.limit_A)
    if not bench.supply.is_on():
        bench.supply.on()
    since = bench.clock.now()
    bench.clock.sleep(step.inrush_s)
    state = bench.supply.measured()
    if state.limiting:
        bench.off()
        raise SafetyTrip(
            f"supply still in its current limit of {show(step.limit_A, 'A')} after {show(step.inrush_s, 's')} at "
            f"{show(step.volts, 'V', 3)}: {show(state.amperes, 'A')}"
        )
    for measurement in step.measurements:
        current = measurement.measurand is Measurand.CURRENT
        reading = reader.supply_current(measurement) if current else reader.settled(measurement, since)
        _hold(enter(measurement, reading), bench)


def _hold(line: Line, bench: Bench) -> None:
    """A window that does not hold, or was not read, leaves nothing powered."""
    if line.judgement is not None and line.judgement.verdict in (Verdict.FAIL, Verdict.UNREAD):
        bench.off()
        raise SafetyTrip(f"{line.measurement.name}: {line.judgement.why}; switched off")


def power_down(action: PowerDown, bench: Bench, reader: Reader, enter: Enter) -> None:
    """Outputs off and read back, discharge, and every point measured until it is safe to disconnect.

    Raises
    ------
    OutputsNotOff : an output cannot be read back as off.
    BenchError : a point stays live; nobody may disconnect.
    """
    bench.off()
    bench.scanner.close(action.channel)
    bench.clock.sleep(action.on_s)
    bench.scanner.open_all()
    deadline = bench.clock.now() + FALL_S
    for measurement in action.measurements:
        reading = reader.read(measurement)
        while reading.value is not None and abs(reading.value) > SAFE_V and bench.clock.now() < deadline:
            bench.clock.sleep(LOOK_S)
            reading = reader.read(measurement)
        enter(measurement, reading)
        if reading.value is None or abs(reading.value) > SAFE_V:
            raise BenchError(
                f"{measurement.point}: {show(reading.value, 'V')} after power-down; treat the board as live, "
                "do not disconnect it"
            )
