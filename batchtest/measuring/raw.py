"""Raw values of one point: its relay closed, the meter set, the abort bounds looked at, the range raised on volts."""

from __future__ import annotations

import math
from dataclasses import dataclass

from batchtest.bench import Bench, RawValues
from batchtest.errors import InstrumentReplyError, SetupError, nearest
from batchtest.files.bench import BenchFile
from batchtest.files.fixture import Reached
from batchtest.measuring.abort import crossed, trip
from batchtest.measuring.accuracies import Accuracies
from batchtest.nouns import Measurand, Measurement, Reading

#: Functions whose over-range says something: what is there is above the range.
BOUNDS = (Measurand.RESISTANCE, Measurand.DIODE)
#: Names of the points that are the bench's own: its known voltage, and the loop through lid and covers.
REFERENCE, INTERLOCK = "reference", "interlock"


@dataclass(frozen=True, slots=True)
class RawSet:
    """Raw values of one reading.

    Parameters
    ----------
    values, raw : the values, and the reply as it came.
    range : the range that they were read on, base unit.
    nplc, each_s : integration of one value, in power-line cycles and in s.
    from_s : when the first value was begun, on the bench's clock.
    """

    values: tuple[float, ...]
    raw: str
    range: float
    nplc: float
    each_s: float
    from_s: float

    @property
    def mean(self) -> float:
        """Mean of the values; nan where one of them is not finite."""
        return math.fsum(self.values) / len(self.values) if self.finite else math.nan

    @property
    def finite(self) -> bool:
        """Whether every value is a number within the range."""
        return all(math.isfinite(value) for value in self.values)

    @property
    def over(self) -> bool:
        """Whether every value is over range, upwards."""
        return all(value == math.inf for value in self.values)


class RawReader:
    """Takes sets of raw values."""

    def __init__(self, bench: Bench, file: BenchFile, fixture: Reached, accuracies: Accuracies) -> None:
        self._bench, self._accuracies = bench, accuracies
        self._nplc, self._count = float(file.meter.integration), file.meter.readings
        self._line_cycle_s = 1 / float(file.mains)
        self._channels = {name: point.scanner for name, point in fixture.points.items()}
        self._channels[REFERENCE] = file.reference.scanner
        if file.interlock is not None:
            self._channels[INTERLOCK] = file.interlock.scanner

    def prepare(self, measurement: Measurement, channel: int | None = None) -> None:
        """Close the point's channel, or the one given, and set the meter, each only where it is not so already."""
        self._bench.scanner.close(self._channel(measurement.point) if channel is None else channel)
        self._bench.meter.configure(measurement.measurand, measurement.range, self._nplc, self._count)

    def take(self, measurement: Measurement, channel: int | None = None) -> RawSet:
        """One set of raw values; on volts over range again on the next higher range, up to the top.

        Raises
        ------
        SafetyTrip : a raw value is beyond the abort bounds; the outputs are off.
        BenchError : the bench gave no values.
        """
        self.prepare(measurement, channel)
        found = self._take_on(measurement, measurement.range)
        while not found.finite and measurement.measurand is Measurand.VOLTAGE:
            higher = self._accuracies.next_range(measurement.measurand, found.range)
            if higher is None:
                break
            found = self._take_on(measurement, higher)
        return found

    def _take_on(self, measurement: Measurement, range_: float) -> RawSet:
        meter, measurand = self._bench.meter, measurement.measurand
        meter.configure(measurand, range_, self._nplc, self._count)
        from_s = self._bench.clock.now()
        got = self._fresh(measurement, range_, self._watched(measurement, range_, self._count))
        nplc = meter.cycles(measurand, self._nplc)
        return RawSet(got.values, got.raw, range_, nplc, nplc * self._line_cycle_s, from_s)

    def _watched(self, measurement: Measurement, range_: float, count: int) -> RawValues:
        """One reply of the meter, its values held against the abort bounds before anything else is done."""
        meter = self._bench.meter
        got = meter.read(measurement.measurand, range_, self._nplc, count)
        beyond = crossed(got.values, measurement.abort, range_)
        if beyond is not None:
            repeated = meter.repeats(got)
            tripped = trip(
                self._bench, measurement, beyond, lambda value: self._single(measurement, value, got, range_)
            )
            if repeated:
                raise InstrumentReplyError(f"{tripped}, though the meter only repeats its last reply: it may be stale")
            raise tripped
        return got

    def _fresh(self, measurement: Measurement, range_: float, got: RawValues) -> RawValues:
        """A reply that may be an old one, or would count as a bound, is asked for again, in another number of values.

        A meter that hands out its last reply again cannot answer that; and over range must be said twice.

        Raises
        ------
        InstrumentReplyError : it said over range, and does not when asked again.
        """
        over = measurement.measurand in BOUNDS and all(value == math.inf for value in got.values)
        if not over and not self._bench.meter.repeats(got):
            return got
        other = self._count - 1 if over and self._count > 2 else self._count + 1
        again = self._watched(measurement, range_, other)
        if over and not all(value == math.inf for value in again.values):
            raise InstrumentReplyError(f"meter: {measurement.name} reads {got.raw!r}, and asked again {again.raw!r}")
        return got if over else again

    def _single(self, measurement: Measurement, value: float, got: RawValues, range_: float) -> Reading:
        """The reading that one raw value makes; no value where it is over range."""
        if not math.isfinite(value):
            return Reading(value=None, unit=measurement.unit, raw=got.raw)
        noise = self._accuracies.noise(measurement.measurand, range_, self._nplc)
        uncertainty = self._accuracies.of_meter(
            measurement.measurand, range_, value, spread=noise, count=1, nplc=self._nplc
        )
        return Reading(
            value=value,
            unit=measurement.unit,
            spread=noise,
            count=1,
            uncertainty=uncertainty,
            raw=got.raw,
            nplc=self._nplc,
        )

    def _channel(self, point: str) -> int:
        if point == INTERLOCK and point not in self._channels:
            raise SetupError("the bench file has no [interlock]; add its scanner channel and resistance bounds")
        if point not in self._channels:
            raise SetupError(f"no point {point!r} in the fixture; {nearest(point, list(self._channels))}")
        return self._channels[point]
