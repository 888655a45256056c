"""The map of a live host: dead, on with nothing mated to it, every pin read, off, dead again. A proof, or a refusal.

Once the host may be live it is switched off on every way out, and what is left on its pins is measured: also where a
pin is refused, since somebody unplugs it then.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Protocol

from batchtest.bench import Bench
from batchtest.errors import BenchError, NotProven, StationError
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurement
from batchtest.procedure.actions import Action
from batchtest.procedure.host_map import HostProcedure, ReadPins, SwitchOff, SwitchOn
from batchtest.procedure.host_model import Pair
from batchtest.procedure.pin_windows import PinWindows
from batchtest.proof.dead import Deadness
from batchtest.proof.entering import Announce, Enter, passed, rounded, shown
from batchtest.proof.proof import HostProof, seal_host_proof
from batchtest.quantities import show

#: A host of which every pin is below this was never on, V.
DEAD_V = 0.05
#: How long a host is given to fall dead after it was switched off, s.
FALL_S = 30.0


class HostSwitch(Protocol):
    """Whoever switches the mains of a host: the handler, or a person who is asked."""

    def on(self, serial: str) -> None:
        """Switch it on; it returns once it is."""
        ...

    def off(self, serial: str) -> None:
        """Switch it off; raises where that is not certain."""
        ...


def prove_host(
    bench: Bench,
    reader: Reader,
    procedure: HostProcedure,
    serial: str,
    *,
    switch: HostSwitch,
    enter: Enter,
    announce: Announce,
) -> HostProof:
    """Map a live host with nothing mated to it. It ends with the host off, and measured to be dead.

    The bench's own outputs are off throughout.

    Raises
    ------
    NotProven : a pin does not read what the circuit says, or the plug is not shown to touch; names pin and reading.
    BenchError : the bench cannot be trusted to tell, or the host is not shown to be dead at the end: treat it as live.
    """
    contact = bench.contact
    work = _Map(bench, reader, procedure.windows, serial, switch, enter)
    try:
        for action in procedure.actions:
            announce(action)
            work.do(action)
    except BaseException as error:  # Ctrl-C too: whatever ended it, the host does not stay on
        work.abandon(error)
        raise
    if work.refusal is not None:
        raise work.refusal
    return seal_host_proof(serial=serial, contact=contact)


@dataclass(slots=True)
class _Map:
    bench: Bench
    reader: Reader
    windows: PinWindows
    serial: str
    switch: HostSwitch
    enter: Enter
    live: bool = False
    refusal: NotProven | None = None
    dead: Deadness = field(init=False)

    def __post_init__(self) -> None:
        self.dead = Deadness(self.bench, self.reader, self.enter, f"host {self.serial}")

    def do(self, action: Action) -> None:
        match action:
            case SwitchOn():
                self.live = True  # from here on it may be, whatever comes back
                self.switch.on(self.serial)
            case ReadPins():
                self.refusal = self.read_pins(action)
            case SwitchOff():
                self.switch.off(self.serial)
                self.live = False
                self.fall(action.measurements)
            case _:
                self.dead.do(action)

    def abandon(self, error: BaseException) -> None:
        """Switch a host off that may be live; one that cannot be outweighs whatever ended the map."""
        if not self.live:
            return
        try:
            self.switch.off(self.serial)
        except StationError as worse:
            raise BenchError(
                f"host {self.serial} is not shown to be off ({worse}); treat it as live, and isolate it at its mains. "
                f"Before that: {error or type(error).__name__}"
            ) from error

    def read_pins(self, action: ReadPins) -> NotProven | None:
        """Read every pin, and say what is wrong with them; a refusal waits until the host is off again."""
        since = self.bench.clock.now()
        lines = [self.enter(each, self.reader.settled(each, since)) for each in action.measurements]
        wrong = [line for line in lines if not passed(line)]
        if not wrong:
            return None
        said = "; ".join(_wrong(line, self.windows) for line in wrong)
        return NotProven(
            f"host {self.serial} does not have on its pins what its circuit says: {said}. {self.looks_like(lines)}"
            "It was switched off again. Mate nothing to it.",
            told_by=[line.measurement.name for line in wrong],
        )

    def looks_like(self, lines: Sequence[Line]) -> str:
        """What these readings look like, as a sentence: a host that is off, or swapped pins; nothing where neither."""
        values = {line.measurement.point: line.reading.value for line in lines}
        readings = {point: value for point, value in values.items() if value is not None}
        if len(readings) < len(values):
            return ""
        if all(abs(value) < DEAD_V for value in readings.values()):
            return "Nothing is on any pin: that looks like a host without mains, or with its fuse blown. "
        pairs = self.windows.explained(readings)
        if not pairs:
            return ""
        said = " or ".join(f"pins {one} and {other}" for one, other in pairs)
        return f"That looks like {said} swapped, in the host's harness or in the break-out plug. "

    def fall(self, measurements: Sequence[Measurement]) -> None:
        """Measure every point until it is safe to unplug; raises BenchError as `show_dead` does."""
        try:
            show_dead(self.dead, self.serial, measurements)
        except BenchError as error:
            raise BenchError(f"{error}{f' Before that: {self.refusal}' if self.refusal else ''}") from error


def show_dead(dead: Deadness, serial: str, measurements: Sequence[Measurement]) -> None:
    """Measure every point of a host that was switched off until it is safe to unplug.

    Raises
    ------
    BenchError : a point stays live, or the known voltage is not read right.
    """
    for measurement in measurements:
        known = measurement.point == "reference"
        reading = dead.reader.reference(measurement) if known else dead.bled(measurement, FALL_S)
        line = dead.enter(measurement, reading)
        if not passed(line):
            raise BenchError(
                f"{measurement.point}: {shown(line)} after host {serial} was switched off; treat it as live, "
                "do not unplug it."
            )


def _wrong(line: Line, windows: PinWindows) -> str:
    """A pin beside what it should read: "pin 2 (feed) reads -0.1 V against pin 7, and should read 21.3 V to 28.8 V"."""
    point, limit = line.measurement.point, line.measurement.limit
    pins: Pair = windows.points[point]
    assert limit is not None, "every pin has a window"
    if set(pins) & set(windows.unused):
        free = next(pin for pin in pins if pin in windows.unused)
        return f"{rounded(line)} on pin {free} ({point}), on which nothing hangs"
    bounds = f"{show(limit.lower, 'V', 4)} to {show(limit.upper, 'V', 4)}"
    return f"pin {pins[0]} ({point}) reads {rounded(line)} against pin {pins[1]}, and should read {bounds}"
