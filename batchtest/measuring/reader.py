"""One trustworthy reading: the right point, settled, averaged, with its uncertainty, or no value at all."""

from __future__ import annotations

from batchtest.bench import Bench, Status
from batchtest.files.bench import BenchFile
from batchtest.files.fixture import Reached
from batchtest.measuring.abort import crossed, trip
from batchtest.measuring.accuracies import Accuracies
from batchtest.measuring.contacts import Contacts
from batchtest.measuring.raw import BOUNDS, RawReader, RawSet
from batchtest.measuring.settling import SMALLEST_STEP, longest_wait, minimum_wait
from batchtest.measuring.spreads import Spreads
from batchtest.measuring.watching import Watch
from batchtest.nouns import Measurand, Measurement, Phase, Reading

#: Phases in which the load draws from the point that is read.
DRAWING = (Phase.LOAD, Phase.COLD, Phase.HOT, Phase.HOLD, Phase.TRIP)


class Reader:
    """Reads measurements on a bench and fixture; one for a batch, since the spread of raw values is pooled.

    Parameters
    ----------
    bench : open.
    setup_bench : its file: accuracy tables, integration, raw values in a reading, reference.
    fixture : points and their channels.
    ambient_C : temperature at the bench.
    """

    def __init__(self, bench: Bench, setup_bench: BenchFile, fixture: Reached, ambient_C: float) -> None:
        self._bench, self._fixture = bench, fixture
        self._accuracies = Accuracies(setup_bench, ambient_C)
        self._raw = RawReader(bench, setup_bench, fixture, self._accuracies)
        self._spreads = Spreads(self._accuracies)
        self._contacts = Contacts(bench, fixture)
        self._last: dict[str, float] = {}

    def forget(self) -> None:
        """Forget what was learnt of the board in the nest: contact proofs, and where its points were."""
        self._contacts.forget()
        self._last.clear()

    def read(self, measurement: Measurement, since: float | None = None) -> Reading:
        """One reading at once, of a value that may still move.

        The points "reference" and "interlock" are the bench's own. No needle proves contact there, so that over range
        is no value and no bound.

        Parameters
        ----------
        since : moment of the last change of state on the bench's clock, s, for the record.

        Returns
        -------
        The mean, or no value: over range on volts (on the top range), or on ohms and diode. The latter are `beyond` the
        range where contact was proven on this board.

        Raises
        ------
        SafetyTrip : a raw value crossed the abort bounds; the outputs are off.
        BenchError : the bench gave no valid reply.
        """
        if measurement.measurand is Measurand.CURRENT:
            return self.supply_current(measurement)
        found = self._raw.take(measurement)
        if not found.finite:
            return self._no_value(measurement, found, since)
        return self._value(measurement, found, since, spread=self._spreads.alone(measurement.measurand, found))

    def settled(self, measurement: Measurement, since: float | None = None) -> Reading:
        """A reading once the value has settled, or as it is when its time is over, with `settled` false.

        Parameters
        ----------
        since : moment of the last change of state on the bench's clock, s; now, where it is `None`.

        Raises
        ------
        SafetyTrip, BenchError : as `read`.
        """
        if measurement.measurand is Measurand.CURRENT:
            return self.supply_current(measurement)
        self._raw.prepare(measurement)
        clock, tau_s, watch = self._bench.clock, measurement.settle_s, Watch(measurement.settle_s)
        began = clock.now() if since is None else since
        clock.wait_until(began + minimum_wait(self._step(measurement), self._expected_guard(measurement), tau_s))
        longest_s, watched_from, taken_s = longest_wait(tau_s), clock.now(), 0.0
        while True:
            found = self._raw.take(measurement)
            settled = watch.sees_settled(found, *self._noise_and_guard(measurement, found))
            taken_s += len(found.values) * found.each_s
            if settled or max(taken_s, clock.now() - watched_from) > longest_s:
                return self._finished(measurement, found, began, settled=settled)

    def reference(self, measurement: Measurement) -> Reading:
        """The bench's known voltage, through meter and scanner."""
        return self._finished(measurement, self._raw.take(measurement), None, settled=True)

    def contact(self, measurement: Measurement, channel: int) -> Reading:
        """Two-wire ohms between the two needles on one terminal; a value below the fixture's limit is remembered.

        Parameters
        ----------
        channel : the contact channel that puts the meter between the needles.
        """
        reading = self._finished(measurement, self._raw.take(measurement, channel), None, settled=True)
        self._contacts.note(channel, reading.value, reading.uncertainty)
        return reading

    def proven(self, point: str) -> bool:
        """Whether both needle pairs of a point were shown to touch, on this board."""
        return self._contacts.proven(point)

    def supply_current(self, measurement: Measurement) -> Reading:
        """Current out of the supply, as the supply itself reads it, with its status.

        Raises
        ------
        SafetyTrip : it is beyond the abort bounds; the outputs are off.
        """
        state = self._bench.supply.measured()
        status = self._bench.confirm()
        reading = Reading(
            value=state.amperes,
            unit="A",
            count=1,
            uncertainty=self._accuracies.of_supply_current(state.amperes),
            raw=state.raw,
            status=status.raw,
            regulated=status.regulated,
        )
        beyond = crossed([state.amperes], measurement.abort, measurement.range)
        if beyond is not None:
            raise trip(self._bench, measurement, beyond, lambda _: reading)
        return reading

    def _step(self, measurement: Measurement) -> float:
        """How far the point probably has to move, base unit."""
        expected = measurement.range if measurement.expected is None else measurement.expected
        last = self._last.get(measurement.point) if measurement.measurand is Measurand.VOLTAGE else None
        return abs(expected) if last is None else max(abs(expected - last), SMALLEST_STEP * abs(expected))

    def _expected_guard(self, measurement: Measurement) -> float:
        range_ = measurement.range
        value = range_ if measurement.expected is None else min(abs(measurement.expected), range_)
        return self._accuracies.of_meter(measurement.measurand, range_, value, spread=0.0, count=1, nplc=1.0)

    def _noise_and_guard(self, measurement: Measurement, found: RawSet) -> tuple[float, float]:
        if not found.finite:
            return 0.0, 0.0
        noise = self._spreads.known(measurement.measurand, found)
        return noise, self._uncertainty(measurement, found, self._spreads.alone(measurement.measurand, found))

    def _uncertainty(self, measurement: Measurement, found: RawSet, spread: float) -> float:
        return self._accuracies.of_meter(
            measurement.measurand, found.range, found.mean, spread=spread, count=len(found.values), nplc=found.nplc
        )

    def _finished(self, measurement: Measurement, found: RawSet, since: float | None, *, settled: bool) -> Reading:
        if not found.finite:
            return self._no_value(measurement, found, since, settled=settled)
        pool = self._spreads.pool if settled else self._spreads.alone
        return self._value(measurement, found, since, spread=pool(measurement.measurand, found), settled=settled)

    def _value(
        self, measurement: Measurement, found: RawSet, since: float | None, *, spread: float, settled: bool = True
    ) -> Reading:
        if measurement.measurand is Measurand.VOLTAGE:
            self._last[measurement.point] = found.mean
        status = self._status(measurement)
        return Reading(
            value=found.mean,
            unit=measurement.unit,
            spread=spread,
            count=len(found.values),
            uncertainty=self._uncertainty(measurement, found, spread),
            raw=found.raw,
            nplc=found.nplc,
            settle_s=0.0 if since is None else found.from_s - since,
            settled=settled,
            status=status.raw,
            regulated=status.regulated,
        )

    def _no_value(
        self, measurement: Measurement, found: RawSet, since: float | None, *, settled: bool = True
    ) -> Reading:
        status = self._status(measurement)
        says = measurement.measurand in BOUNDS and found.over and self._contacts.proven(measurement.point)
        return Reading(
            value=None,
            unit=measurement.unit,
            beyond=found.range if says else None,
            raw=found.raw,
            nplc=found.nplc,
            settle_s=0.0 if since is None else found.from_s - since,
            settled=settled,
            status=status.raw,
            regulated=status.regulated,
        )

    def _status(self, measurement: Measurement) -> Status:
        """All status words, and that the bench is as it was left: else what was just read does not count.

        At a load point also whether the load draws what it is set to there.
        """
        point = self._fixture.points.get(measurement.point)
        drawing = point.load if measurement.phase in DRAWING and point is not None else None
        return self._bench.confirm(drawing)
