"""What follows from the readings of a load test, as lines of its record: judged where the limits say what must hold."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from batchtest.capacity.answer import Answer, answer_of
from batchtest.capacity.model import BudgetRow, SourceFit
from batchtest.capacity.outlet import Outlet
from batchtest.capacity.readings import resistances
from batchtest.capacity.usable import carries_A
from batchtest.files.bounds import OhmBounds
from batchtest.files.limits_outlet import OutletLimits
from batchtest.nouns import Limit, Line, Measurand, Measurement, Phase, Reading
from batchtest.proof import Enter


def enter_derived(
    outlet: Outlet, limits: OutletLimits, lines: Sequence[Line], ambient_C: float, enter: Enter
) -> Answer:
    """Work out the answer, and put what is judged of it into the record."""
    answer = answer_of(outlet, lines, ambient_C)
    for measurement, reading in _derived(outlet, limits, answer, lines):
        enter(measurement, reading)
    return answer


def bounds_of(table: OhmBounds | None, source: str) -> Limit | None:
    """A resistance's bounds as a limit."""
    if table is None:
        return None
    lower, upper = (None if bound is None else float(bound) for bound in (table.lower, table.upper))
    return Limit(lower=lower, upper=upper, source=source)


def _derived(
    outlet: Outlet, limits: OutletLimits, answer: Answer, lines: Sequence[Line]
) -> Iterator[tuple[Measurement, Reading]]:
    cold, hot = (None, None) if limits.resistance is None else (limits.resistance.cold, limits.resistance.hot)
    yield (
        _named("source resistance, cold", Measurand.OUTPUT_RESISTANCE, "ohm", outlet, bounds_of(cold, limits.source)),
        _resistance(answer.cold_fit),
    )
    yield (
        _named("source resistance, hot", Measurand.OUTPUT_RESISTANCE, "ohm", outlet, bounds_of(hot, limits.source)),
        _resistance(answer.hot_fit),
    )
    yield _usable(outlet, limits, answer)
    for row in answer.fitted.budget if answer.fitted is not None else ():
        yield from _served(outlet, limits, answer, row)
    if limits.fuse is not None and limits.fuse.after is not None and outlet.trip is not None:
        yield _after(outlet, limits, lines)


def _usable(outlet: Outlet, limits: OutletLimits, answer: Answer) -> tuple[Measurement, Reading]:
    """The current that is promised; it is a lower bound already, so that nothing is taken off it again."""
    limit = None if limits.usable is None else Limit(lower=float(limits.usable.lower), source=limits.source)
    name = f"usable current at {outlet.ambient_max_C:g} C"
    value = None if answer.fitted is None else answer.fitted.usable.current_A
    measurement = _named(name, Measurand.USABLE_CURRENT, "A", outlet, limit)
    return measurement, Reading(value=value, unit="A", uncertainty=None if value is None else 0.0)


def _served(
    outlet: Outlet, limits: OutletLimits, answer: Answer, row: BudgetRow
) -> Iterator[tuple[Measurement, Reading]]:
    """A demand's voltage at its own end, and what then flows out of the outlet: hot, with all others plugged in."""
    served, demand = row.hot_together, row.demand
    assert answer.fitted is not None, "a budget comes with an answer"
    judged = limits.budget
    yield (
        _named(
            f"{demand.name}, its voltage, hot, all plugged in",
            Measurand.VOLTAGE,
            "V",
            outlet,
            Limit(lower=demand.minimum_V, source=limits.source) if judged else None,
        ),
        Reading(
            value=served.voltage.value if served.measured else None,
            unit="V",
            uncertainty=served.voltage.upper - served.voltage.value if served.measured else None,
        ),
    )
    carried = Limit(upper=carries_A(answer.fitted.usable), source="what no part may carry more than, for good")
    yield (
        _named(
            f"{demand.name}, the outlet's current, all plugged in",
            Measurand.LOAD_CURRENT,
            "A",
            outlet,
            carried if judged else None,
        ),
        Reading(value=served.outlet_A, unit="A", uncertainty=0.0),
    )


def _after(outlet: Outlet, limits: OutletLimits, lines: Sequence[Line]) -> tuple[Measurement, Reading]:
    """The resistance at the last look after the trip."""
    assert limits.fuse is not None, "asked where there is a limit"
    tripped = [moment for moment in resistances(lines) if moment.phase is Phase.TRIP]
    value = tripped[-1].ohm if len(tripped) > 1 else None
    name = "source resistance after the trip"
    measurement = _named(name, Measurand.OUTPUT_RESISTANCE, "ohm", outlet, bounds_of(limits.fuse.after, limits.source))
    half = (
        None
        if value is None
        else 2 * outlet.errors.meter_offset_V / tripped[-1].current_A
        + value * (outlet.errors.meter_gain + outlet.errors.load_gain)
    )
    return measurement, Reading(value=value, unit="ohm", uncertainty=half)


def _resistance(fit: SourceFit | None) -> Reading:
    if fit is None:
        return Reading(value=None, unit="ohm")
    half = (fit.ohm.upper - fit.ohm.lower) / 2
    return Reading(value=fit.ohm.value, unit="ohm", count=len(fit.currents_A), uncertainty=half)


def _named(name: str, measurand: Measurand, unit: str, outlet: Outlet, limit: Limit | None) -> Measurement:
    return Measurement(
        name=name,
        phase=Phase.DERIVED,
        point=outlet.point,
        measurand=measurand,
        unit=unit,
        range=0.0,
        limit=limit,
    )
