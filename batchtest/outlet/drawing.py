"""Drawing current from an outlet: never more than the stop, and off again on every way out."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace

from batchtest.bench import Bench
from batchtest.errors import SafetyTrip
from batchtest.measuring import Reader
from batchtest.nouns import Line, Measurand, Measurement, Phase, Reading
from batchtest.proof import Enter
from batchtest.quantities import show

#: A load that reads back more than the stop by this share is not believed to be in error (its own accuracy is better).
OVER = 1.01


@dataclass(slots=True)
class Drawing:
    """The load across an outlet, and the meter at it.

    Attributes
    ----------
    channel : of the load.
    stop_A : nothing above this is drawn, whoever asks; the load itself has it too.
    template : a reading of the outlet, whose name, phase and current are filled in.
    """

    bench: Bench
    reader: Reader
    enter: Enter
    channel: int
    stop_A: float
    template: Measurement
    since: float = 0.0

    @contextmanager
    def current(self, amperes: float) -> Iterator[None]:
        """Draw a current for as long as the context lasts; the load is off, and read back, after it.

        Raises
        ------
        SafetyTrip : it is above the stop; nothing was drawn.
        """
        if amperes > self.stop_A:
            raise SafetyTrip(f"{show(amperes, 'A')} is above the stop of {show(self.stop_A, 'A')}; nothing was drawn")
        load = self.bench.load
        load.set_current(self.channel, amperes)
        try:
            load.on(self.channel)
            self.since = self.bench.clock.now()
            yield
        finally:
            load.off(self.channel)
            self.since = self.bench.clock.now()

    def measurement(self, phase: Phase, name: str, amperes: float, index: int | None = None) -> Measurement:
        """A reading of the outlet's voltage with a current drawn."""
        return replace(self.template, phase=phase, name=name, load_A=amperes, load_point=index)

    def read(self, measurement: Measurement, since: float | None = None) -> Reading:
        """The outlet's voltage now; `since` when something last changed is the time that the record keeps."""
        return self.reader.read(measurement, self.since if since is None else since)

    def enter_drawn(self, measurement: Measurement) -> Line:
        """What the load says that it draws, where it does not hold what it was set to; the software's own stop.

        Raises
        ------
        SafetyTrip : it is above the stop; the load is off.
        """
        state = self.bench.load.measured(self.channel)
        line = self.enter(
            replace(
                measurement,
                name=f"{measurement.name}, drawn",
                measurand=Measurand.LOAD_CURRENT,
                unit="A",
                range=0.0,
                limit=None,
                abort=None,
            ),
            Reading(value=state.amperes, unit="A", count=1, raw=state.status.raw),
        )
        if state.amperes > OVER * self.stop_A:
            self.bench.load.off(self.channel)
            raise SafetyTrip(
                f"the load draws {show(state.amperes, 'A')}, above the stop of {show(self.stop_A, 'A')}; switched off"
            )
        return line
