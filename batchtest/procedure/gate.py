"""The actions before power, in the order that risks least: nothing of ohms before every point is shown to be dead."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from batchtest.files.bench import OhmsAccuracy
from batchtest.files.fixture import FixtureFile, input_point
from batchtest.files.limits import ColdLimit
from batchtest.judging.accuracy import pick_range
from batchtest.nouns import Limit, Measurand, Measurement, Phase
from batchtest.procedure.actions import (
    Action,
    CheckCold,
    Discharge,
    Identify,
    MakeSafe,
    ProveContact,
    ReadReference,
    ReadResidual,
)
from batchtest.procedure.model import Nominal, ranges_of
from batchtest.procedure.rails import limit_of
from batchtest.procedure.times import SETTING_S, Times

#: Within this a point counts as dead enough for ohms, V.
DEAD = Limit(lower=-0.05, upper=0.05, source="no ohms on a live point")
#: How long the discharge resistor stays on, s, and how long after it the voltage may not rise.
DISCHARGE_S = 0.3
REST_S = 2.0
#: The window of an id resistor, in its own tolerances.
ID_TOLERANCES = 2.0


def gate(nominal: Nominal, times: Times) -> tuple[Action, ...]:
    """The gate: it starts and ends with nothing powered."""
    before, after = _reference(nominal, "before"), _reference(nominal, "after")
    points, fed = nominal.setup.fixture.points, input_point(nominal.setup.fixture)
    first = tuple(residual(nominal, point, "before discharge", limit=None) for point in points)
    drained = residual(nominal, fed, "after discharge", limit=None)
    second = tuple(residual(nominal, point, "after rest", limit=DEAD) for point in points)
    channels = _contact_channels(nominal.setup.fixture)
    contacts, cold = tuple(_contacts(nominal, channels)), tuple(_cold(nominal))
    identity = _identity(nominal)
    rest_s = max(0.0, REST_S - times.of_readings([drained, *contacts]))
    discharge_s = DISCHARGE_S + times.relay_s + times.of_readings([drained])
    channel = nominal.setup.fixture.discharge.scanner
    return (
        MakeSafe(title="outputs off, read back, protections set", seconds=20 * SETTING_S),
        ReadReference(title="known voltage read right", seconds=times.of_readings([before]), measurements=(before,)),
        ReadResidual(title="residual voltage", seconds=times.of_readings(first), measurements=first),
        Discharge(title="discharge", seconds=discharge_s, measurements=(drained,), channel=channel, on_s=DISCHARGE_S),
        ProveContact(
            title="needles touch",
            seconds=times.of_readings(contacts),
            measurements=contacts,
            channels=tuple(channels),
        ),
        ReadResidual(
            title="residual voltage, not rising",
            seconds=rest_s + times.of_readings(second),
            measurements=second,
            rest_s=REST_S,
        ),
        ReadReference(
            title="known voltage still read right", seconds=times.of_readings([after]), measurements=(after,)
        ),
        Identify(title="id resistor of the cable", seconds=times.of_readings([identity]), measurements=(identity,)),
        CheckCold(
            title="no short, board cold",
            seconds=times.of_readings(cold) + sum(times.of_settling([each]) for each in cold),
            measurements=cold,
        ),
    )


def _reference(nominal: Nominal, when: str) -> Measurement:
    reference = nominal.setup.bench.reference
    volts, within = float(reference.voltage), float(reference.within)
    return Measurement(
        name=f"reference {when}",
        phase=Phase.GATE,
        point="reference",
        measurand=Measurand.VOLTAGE,
        unit="V",
        range=pick_range(ranges_of(nominal.setup).volts, volts + within),
        limit=Limit(lower=volts - within, upper=volts + within, source="bench file"),
        expected=volts,
    )


def residual(nominal: Nominal, point: str, when: str, *, limit: Limit | None) -> Measurement:
    """Voltage at a point while the outputs are off, on the range that would also read the full supply voltage."""
    return Measurement(
        name=f"residual {point} {when}",
        phase=Phase.GATE,
        point=point,
        measurand=Measurand.VOLTAGE,
        unit="V",
        range=pick_range(ranges_of(nominal.setup).volts, float(nominal.full_volts)),
        limit=limit,
        expected=0.0,
    )


def _contact_channels(fixture: FixtureFile) -> dict[int, str]:
    """Each contact channel once, and the terminal whose two needles it joins."""
    return {
        channel: terminal
        for point in fixture.points.values()
        for channel, terminal in zip(point.contact, (point.plus, point.minus), strict=True)
    }


def _contacts(nominal: Nominal, channels: Mapping[int, str]) -> Iterator[Measurement]:
    fixture = nominal.setup.fixture
    limit = Limit(upper=float(fixture.contact_limit), source="fixture file")
    for channel, terminal in channels.items():
        yield Measurement(
            name=f"contact {terminal} ({channel})",
            phase=Phase.GATE,
            point=terminal,
            measurand=Measurand.CONTACT,
            unit="ohm",
            range=pick_range(ranges_of(nominal.setup).ohms, float(fixture.contact_limit)),
            limit=limit,
        )


def _identity(nominal: Nominal) -> Measurement:
    resistor, point = nominal.setup.cable.id_resistor, nominal.setup.fixture.identify
    if resistor is None:  # the loader refuses a fixture whose cable has none
        raise AssertionError(f"{nominal.setup.fixture.cable} has no id resistor")
    value, half = float(resistor.value), ID_TOLERANCES * float(resistor.value * resistor.tolerance)
    return Measurement(
        name=f"id resistor of {nominal.setup.fixture.cable}",
        phase=Phase.GATE,
        point=point,
        measurand=Measurand.RESISTANCE,
        unit="ohm",
        range=pick_range(ranges_of(nominal.setup).ohms, value + half),
        limit=Limit(lower=value - half, upper=value + half, source="cable file"),
        expected=value,
    )


def _cold(nominal: Nominal) -> Iterator[Measurement]:
    for name, limit in nominal.setup.limits.cold.items():
        yield _diode(nominal, name, limit) if limit.diode is not None else _resistance(nominal, name, limit)


def _resistance(nominal: Nominal, name: str, cold: ColdLimit) -> Measurement:
    assert cold.resistance is not None, "the loader asks for one of the two"
    wanted = [float(bound) for bound in (cold.resistance.lower, cold.resistance.upper) if bound is not None]
    row, expected = _ohms_row(nominal, cold.point, max(wanted))
    return Measurement(
        name=name,
        phase=Phase.GATE,
        point=cold.point,
        measurand=Measurand.RESISTANCE,
        unit="ohm",
        range=float(row.range),
        limit=limit_of(cold.resistance.lower, cold.resistance.upper, cold.source),
        expected=expected,
        settle_s=nominal.settle_s(cold.point),
    )


def _ohms_row(nominal: Nominal, point: str, largest: float) -> tuple[OhmsAccuracy, float]:
    """The lowest ohms range that holds the bounds and reads a nominal board without going over range."""
    fitting = [row for row in ranges_of(nominal.setup).ohms if float(row.range) >= largest]
    for row in fitting:
        expected = nominal.ohms(point, row)
        if expected <= float(row.range):
            return row, expected
    return fitting[0], nominal.ohms(point, fitting[0])


def _diode(nominal: Nominal, name: str, cold: ColdLimit) -> Measurement:
    assert cold.diode is not None, "the loader asks for one of the two"
    row = nominal.setup.bench.meter.accuracy.diode[-1]
    return Measurement(
        name=name,
        phase=Phase.GATE,
        point=cold.point,
        measurand=Measurand.DIODE,
        unit="V",
        range=float(row.range),
        limit=limit_of(cold.diode.lower, cold.diode.upper, cold.source),
        settle_s=nominal.settle_s(cold.point),
    )
