"""The actions that prove what closes the circuit: the interlock, the cable's id resistor, and where its wires go."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.cables import PinReading, Signature
from batchtest.files.bench import BenchFile
from batchtest.judging.accuracy import pick_range
from batchtest.nouns import Measurand, Measurement, Phase
from batchtest.procedure.actions import CheckInterlock, Identify, ProvePinMap
from batchtest.procedure.model import Nominal
from batchtest.procedure.rails import limit_of
from batchtest.procedure.times import Times

#: Name of the point that is the loop through lid and covers.
INTERLOCK = "interlock"


def check_interlock(bench: BenchFile, times: Times) -> Iterator[CheckInterlock]:
    """The loop through lid and covers, where the bench has one."""
    interlock = bench.interlock
    if interlock is None:
        return
    lower, upper = interlock.resistance.lower, interlock.resistance.upper
    assert lower is not None, "the loader asks for both"
    assert upper is not None, "the loader asks for both"
    measurement = Measurement(
        name=INTERLOCK,
        phase=Phase.GATE,
        point=INTERLOCK,
        measurand=Measurand.RESISTANCE,
        unit="ohm",
        range=pick_range(bench.meter.accuracy.ohms, float(upper)),
        limit=limit_of(lower, upper, "bench file"),
        expected=float(lower + upper) / 2,
    )
    yield CheckInterlock(
        title="interlock closed", seconds=times.of_readings([measurement]), measurements=(measurement,)
    )


def cable_actions(nominal: Nominal, signature: Signature, times: Times) -> Iterator[Identify | ProvePinMap]:
    """The id resistor where the fixture reads one, and the pin map."""
    identify = nominal.setup.fixture.identify
    measured = {pin.name: _measurement(nominal, signature, pin) for pin in signature.readings}
    ids = tuple(measured[pin.name] for pin in signature.readings if pin.reading.point == identify)
    pins = tuple(one for one in measured.values() if one not in ids)
    best = {pin.name for pin in signature.best.values()}
    if ids:
        yield Identify(title="id resistor of the cable", seconds=times.of_readings(ids), measurements=ids)
    yield ProvePinMap(
        title="where the cable's wires go",
        seconds=times.of_readings(pins) + sum(times.of_settling([each]) for each in pins),
        measurements=pins,
        repeated=tuple(one for one in pins if one.name in best),
    )


def _measurement(nominal: Nominal, signature: Signature, pin: PinReading) -> Measurement:
    reading = pin.reading
    return Measurement(
        name=pin.name,
        phase=Phase.GATE,
        point=reading.point,
        measurand=reading.measurand,
        unit=reading.unit,
        range=reading.range,
        limit=pin.limit,
        expected=pin.expected[signature.cable].value,
        settle_s=nominal.settle_s(reading.point),
    )
