"""Sources, sweeps and parts for the tests of what an outlet can carry; all invented."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

from batchtest.capacity.curve import Curve, curve
from batchtest.capacity.fits import Errors
from batchtest.capacity.model import Demand, Derating, FuseData, Lead, Point, ResistorData
from batchtest.nouns import Reading

PERFECT = Errors(meter_gain=0.0, meter_offset_V=0.0, load_gain=0.0, load_offset_A=0.0)
#: Bounds of a good meter on its 100 V range and of a plain load on its 500 mA range.
USUAL = Errors(meter_gain=5e-5, meter_offset_V=7e-4, load_gain=5e-4, load_offset_A=5e-4)
CURRENTS_A = (0.02, 0.05, 0.08, 0.12, 0.16, 0.2)
#: Knots as they are typical of polymer fuses; invented, 20 C is their reference.
DERATING = Derating(knots=((-40.0, 1.48), (0.0, 1.17), (20.0, 1.0), (40.0, 0.83), (60.0, 0.67), (85.0, 0.45)))
FUSE = FuseData(
    hold_A=0.2,
    trip_A=0.4,
    at_C=20.0,
    r_min_ohm=1.5,
    r1_max_ohm=5.0,
    v_max_V=30.0,
    i_max_A=10.0,
    trip_s=8.0,
    trip_at_A=1.0,
    dissipation_W=0.6,
    derating=DERATING,
)
RESISTOR = ResistorData(ohm=15.0, rating_W=2.0)


def read(volts: float | None, **keys: object) -> Reading:
    """A voltage averaged over three values of one line cycle each."""
    return Reading(value=volts, unit="V", **{"spread": 0.0, "count": 3, "nplc": 1.0, **keys})  # type: ignore[arg-type]


def sweep(
    source: Callable[[float], float], currents_A: Sequence[float] = CURRENTS_A, *, both_ways: bool = True
) -> list[Point]:
    """A sweep read without error: up, and down again."""
    up = [Point(current_A=current, voltage=read(source(current))) for current in currents_A]
    down = [Point(current_A=p.current_A, voltage=p.voltage, rising=False) for p in reversed(up)]
    return up + down if both_ways else up


def straight_source(open_V: float = 12.0, ohm: float = 15.0) -> Callable[[float], float]:
    """A source with a resistance and nothing else."""
    return lambda current_A: open_V - ohm * current_A


def follower(open_V: float = 12.3, ohm: float = 15.0) -> Callable[[float], float]:
    """An emitter follower behind a resistor: the diode law costs most in the first milliamperes."""
    return lambda current_A: open_V - ohm * current_A - 0.026 * math.log1p(current_A / 0.0026)


def curve_of(source: Callable[[float], float], currents_A: Sequence[float] = (0.0, *CURRENTS_A)) -> Curve:
    """The curve of a source that was read without error."""
    found = curve(sweep(source, currents_A), PERFECT)
    assert found is not None
    return found


def demand(name: str = "display", current_A: float = 0.08, **keys: float) -> Demand:
    """A thing without a lead, unless `length_m` says otherwise."""
    return Demand(
        name=name,
        current_A=current_A,
        peak_A=keys.get("peak_A", current_A),
        minimum_V=keys.get("minimum_V", 9.0),
        lead=Lead(length_m=keys.get("length_m", 0.0), area_mm2=0.25),
    )
