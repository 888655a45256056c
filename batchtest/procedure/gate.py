"""The actions before power, in the order that risks least: nothing of ohms before every point is shown to be dead."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.cables import Signature
from batchtest.files.bench import OhmsAccuracy
from batchtest.files.fixture import input_point
from batchtest.files.limits import ColdLimit
from batchtest.nouns import Measurand, Measurement, Phase
from batchtest.procedure.actions import Action, CheckCold, MakeSafe
from batchtest.procedure.dead import Unpowered
from batchtest.procedure.model import Nominal, ranges_of
from batchtest.procedure.pin_map import cable_actions, check_interlock
from batchtest.procedure.rails import limit_of
from batchtest.procedure.times import SETTING_S, Times


def gate(nominal: Nominal, signature: Signature, times: Times) -> tuple[Action, ...]:
    """The gate: it starts and ends with nothing powered."""
    cold = tuple(_cold(nominal))
    return (
        MakeSafe(title="outputs off, read back, protections set", seconds=20 * SETTING_S),
        *check_interlock(nominal.setup.bench, times),
        *unpowered(nominal, times).shown_dead(input_point(nominal.setup.fixture)),
        *cable_actions(nominal, signature, times),
        CheckCold(
            title="no short, board cold",
            seconds=times.of_readings(cold) + sum(times.of_settling([each]) for each in cold),
            measurements=cold,
        ),
    )


def unpowered(nominal: Nominal, times: Times) -> Unpowered:
    """What is read of a board while nothing is powered."""
    return Unpowered(nominal.setup.bench, nominal.setup.fixture, float(nominal.full_volts), times)


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
