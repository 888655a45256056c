"""The measurements that the limits of a rail ask for: at each load point, and derived from several of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from decimal import Decimal

from batchtest.files.fixture import FixtureFile
from batchtest.files.limits import AbortBounds, LimitsFile, LoadLimit, RailLimit, rail_bounds
from batchtest.judging.accuracy import pick_range
from batchtest.nouns import Limit, Measurand, Measurement, Phase
from batchtest.procedure.model import Ranges


def load_at(rail: RailLimit, index: int) -> LoadLimit:
    """The entry of a rail that holds at load point `index`; a single entry holds at all of them."""
    return rail.at[index] if len(rail.at) > 1 else rail.at[0]


def load_currents(limits: LimitsFile, fixture: FixtureFile, index: int) -> dict[int, float]:
    """Current of every load channel at load point `index`, A."""
    currents = {}
    for name, rail in limits.rails.items():
        channel, load = fixture.points[name].load, load_at(rail, index).load
        if channel is not None:
            currents[channel] = float(load or 0)
    return currents


def bounds(rail: RailLimit, index: int) -> Limit:
    """Bounds of a rail at load point `index`, V, with where they come from."""
    return limit_of(*rail_bounds(rail, load_at(rail, index)), rail.source)


def limit_of(lower: Decimal | None, upper: Decimal | None, source: str) -> Limit:
    """A limit from the exact bounds of a file."""
    return Limit(lower=_float(lower), upper=_float(upper), source=source)


def abort_bounds(abort: AbortBounds | None) -> Limit | None:
    """Bounds that leave nothing powered, or `None` where there are none."""
    return None if abort is None else limit_of(abort.below, abort.above, "abort bound")


def at_load_point(
    limits: LimitsFile, index: int, ranges: Ranges, expected: Mapping[str, float], settle_s: Mapping[str, float]
) -> tuple[Measurement, ...]:
    """Every rail at load point `index` (from 0), in the order of the limits file."""
    return tuple(
        Measurement(
            name=f"{name} @ load point {index + 1}",
            phase=Phase.LOAD,
            point=name,
            measurand=Measurand.VOLTAGE,
            unit="V",
            range=volts_range(ranges, rail),
            limit=bounds(rail, index),
            abort=abort_bounds(rail.abort),
            load_point=index,
            load_A=_float(load_at(rail, index).load),
            expected=expected[name],
            settle_s=settle_s[name],
        )
        for name, rail in limits.rails.items()
    )


def derived(limits: LimitsFile) -> Iterator[Measurement]:
    """Regulation and output resistance of every rail that has a limit for them."""
    for name, rail in limits.rails.items():
        if rail.regulation is not None:
            limit = Limit(upper=float(rail.regulation.upper), source=rail.source)
            yield _derived(name, Measurand.REGULATION, "%", limit)
        if rail.resistance is not None:
            limit = limit_of(rail.resistance.lower, rail.resistance.upper, rail.source)
            yield _derived(name, Measurand.OUTPUT_RESISTANCE, "ohm", limit)


def volts_range(ranges: Ranges, rail: RailLimit) -> float:
    """The meter's range for a rail: the smallest that holds all its bounds, abort bounds too."""
    known = [rail.nominal]
    for entry in rail.at:
        known += [bound for bound in rail_bounds(rail, entry) if bound is not None]
    if rail.abort is not None:
        known += [bound for bound in (rail.abort.above, rail.abort.below) if bound is not None]
    return pick_range(ranges.volts, float(max(abs(bound) for bound in known)))


def _derived(rail: str, measurand: Measurand, unit: str, limit: Limit) -> Measurement:
    return Measurement(
        name=f"{rail} {measurand.value}",
        phase=Phase.DERIVED,
        point=rail,
        measurand=measurand,
        unit=unit,
        range=0.0,
        limit=limit,
    )


def _float(value: Decimal | None) -> float | None:
    return None if value is None else float(value)
