"""What is done before anything is powered, on board and host alike: every point shown to be dead, its needles to touch.

A zero counts only between two right readings of a known voltage, and where both needles were shown to touch.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

from batchtest.files.bench import BenchFile
from batchtest.files.fixture import Discharge as DischargeTable
from batchtest.files.fixture import Reached, distinct_points
from batchtest.judging.accuracy import pick_range
from batchtest.nouns import Limit, Measurand, Measurement, Phase
from batchtest.procedure.actions import Action, Discharge, ProveContact, ReadReference, ReadResidual
from batchtest.procedure.times import Times

#: Within this a point counts as dead enough for ohms, V.
DEAD = Limit(lower=-0.05, upper=0.05, source="no ohms on a live point")
#: How long the discharge resistor stays on, s, and how long after it the voltage may not rise.
DISCHARGE_S = 0.3
REST_S = 2.0


@dataclass(frozen=True, slots=True)
class Unpowered:
    """What is read while nothing is powered; `full_V` is the voltage that a point may have had before."""

    bench: BenchFile
    fixture: Reached
    full_V: float
    times: Times

    def shown_dead(self, fed: str) -> tuple[Action, ...]:
        """From the first look at residual voltage to the second reading of the known voltage.

        Parameters
        ----------
        fed : the point that the discharge resistor lies across, where the fixture has one.
        """
        first = self.residuals("before discharge", limit=None)
        second = self.residuals("after rest", limit=DEAD)
        drained = self.residual(fed, "after discharge", limit=None)
        discharge, contact = self.fixture.discharge, self.contact()
        after = [*([drained] if discharge else []), *contact.measurements]
        rest_s = max(0.0, REST_S - self.times.of_readings(after)) if discharge else 0.0
        return (
            self.reference("known voltage read right", "before"),
            ReadResidual(title="residual voltage", seconds=self.times.of_readings(first), measurements=first),
            *([self.discharge(drained, discharge)] if discharge else []),
            contact,
            ReadResidual(
                title="residual voltage, not rising",
                seconds=rest_s + self.times.of_readings(second),
                measurements=second,
                rest_s=REST_S,
            ),
            self.reference("known voltage still read right", "after"),
        )

    def reference(self, title: str, when: str) -> ReadReference:
        """The bench's known voltage."""
        known = self.bench.reference
        volts, within = float(known.voltage), float(known.within)
        measurement = Measurement(
            name=f"reference {when}",
            phase=Phase.GATE,
            point="reference",
            measurand=Measurand.VOLTAGE,
            unit="V",
            range=pick_range(self.bench.meter.accuracy.volts_dc, volts + within),
            limit=Limit(lower=volts - within, upper=volts + within, source="bench file"),
            expected=volts,
        )
        return ReadReference(title=title, seconds=self.times.of_readings([measurement]), measurements=(measurement,))

    def residuals(self, when: str, *, limit: Limit | None) -> tuple[Measurement, ...]:
        """Voltage at every point while the outputs are off."""
        return tuple(self.residual(point, when, limit=limit) for point in distinct_points(self.fixture))

    def residual(self, point: str, when: str, *, limit: Limit | None) -> Measurement:
        """Voltage at a point while the outputs are off, on the range that would also read the full voltage."""
        return Measurement(
            name=f"residual {point} {when}",
            phase=Phase.GATE,
            point=point,
            measurand=Measurand.VOLTAGE,
            unit="V",
            range=pick_range(self.bench.meter.accuracy.volts_dc, self.full_V),
            limit=limit,
            expected=0.0,
        )

    def discharge(self, drained: Measurement, table: DischargeTable) -> Discharge:
        """The discharge resistor on and off again, and the voltage right after it."""
        seconds = DISCHARGE_S + self.times.relay_s + self.times.of_readings([drained])
        channel = table.scanner
        return Discharge(title="discharge", seconds=seconds, measurements=(drained,), channel=channel, on_s=DISCHARGE_S)

    def contact(self, when: str = "") -> ProveContact:
        """Both needles on every terminal; `when` is added to the names where it is done a second time."""
        channels = _contact_channels(self.fixture)
        measurements = tuple(self._contacts(channels, when))
        return ProveContact(
            title="needles touch" if not when else f"needles touch {when}",
            seconds=self.times.of_readings(measurements),
            measurements=measurements,
            channels=tuple(channels),
        )

    def _contacts(self, channels: Mapping[int, str], when: str) -> Iterator[Measurement]:
        most = float(self.fixture.contact_limit)
        for channel, terminal in channels.items():
            yield Measurement(
                name=f"contact {terminal} ({channel}){f' {when}' * bool(when)}",
                phase=Phase.GATE,
                point=terminal,
                measurand=Measurand.CONTACT,
                unit="ohm",
                range=pick_range(self.bench.meter.accuracy.ohms, most),
                limit=Limit(upper=most, source="fixture file"),
            )


def _contact_channels(fixture: Reached) -> dict[int, str]:
    """Each contact channel once, and the terminal whose two needles it joins."""
    return {
        channel: terminal
        for point in fixture.points.values()
        for channel, terminal in zip(point.contact, (point.plus, point.minus), strict=True)
    }
