"""What an outlet's page shows besides its verdict: the answer, the curve with the budget on it, what else would do.

All of it is worked out from the record alone, so that the same record gives the same page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from markupsafe import Markup

from batchtest.capacity.answer import Answer, answer_of_record
from batchtest.capacity.fuse import region, trip_A
from batchtest.capacity.let_through import can_trip
from batchtest.capacity.model import Alternative, BudgetRow, FuseData, ResistorData, Served
from batchtest.capacity.outlet import Outlet, of_json
from batchtest.capacity.readings import resistances
from batchtest.capacity.resistor import heat
from batchtest.capacity.usable import cut_A
from batchtest.errors import RecordError
from batchtest.nouns import Line, Measurand, Phase, Verdict
from batchtest.pages.outlet_drawings import curve_drawing, resistance_drawings
from batchtest.pages.outlet_words import WORKS, found, let_through
from batchtest.quantities import show
from batchtest.records.record import Record


@dataclass(frozen=True, slots=True)
class Told:
    """How a demand fares in one state of the source."""

    verdict: Verdict
    word: str
    margin: str


@dataclass(frozen=True, slots=True)
class Hung:
    """A thing that is to hang on the outlet: what it needs, and how it fares in every state."""

    name: str
    needs: str
    lead: str
    states: tuple[Told, ...]


@dataclass(frozen=True, slots=True)
class Fitted:
    """What is in series, or might be: what the outlet is usable to then, who works, and what a short draws."""

    name: str
    usable: str
    term: str
    works: str
    short: str


@dataclass(frozen=True, slots=True)
class Read:
    """One current of the sweeps: the voltage by a pulse on the way up and down, at thermal rest, and the heat there."""

    current: str
    up: str
    down: str
    hot: str
    band: str
    heat: str


@dataclass(frozen=True, slots=True)
class OutletPage:
    """All that the template of an outlet needs besides what every page has."""

    sentence: str
    found: tuple[str, ...]
    curve: Markup
    resistance: tuple[Markup, ...]
    budget: tuple[Hung, ...]
    fitted: tuple[Fitted, ...]
    reads: tuple[Read, ...]
    with_heat: bool
    trip: tuple[str, ...]
    after: tuple[tuple[str, str, str], ...]
    ceilings: tuple[tuple[str, str], ...]
    at: str
    ambient: str


def outlet_page(record: Record) -> OutletPage:
    """Work out what the page of an outlet shows.

    Raises
    ------
    RecordError : the record does not say what was known of the outlet.
    """
    context = record.context
    try:
        outlet = of_json(context.outlet or {})
    except ValueError as error:
        raise RecordError(f"{record.path.name}: does not say what was known of the outlet; it is damaged") from error
    answer = answer_of_record(outlet, record.lines, context.ambient_C)
    fitted = () if answer.fitted is None else (answer.fitted, *answer.others)
    return OutletPage(
        sentence=answer.sentence,
        found=tuple(found(answer, outlet)),
        curve=curve_drawing(answer, outlet.demands, outlet.low_mains_V, outlet.ambient_max_C),
        resistance=tuple(resistance_drawings(list(resistances(record.lines)))),
        budget=tuple(_hung(row) for row in (answer.fitted.budget if answer.fitted is not None else ())),
        fitted=tuple(_fitted(each) for each in fitted),
        reads=tuple(_reads(answer, outlet)),
        with_heat=isinstance(outlet.limiter, ResistorData),
        trip=tuple(_trip(outlet, answer, record.lines)),
        after=tuple(_after(record.lines)),
        ceilings=tuple(_ceilings(answer)),
        at=f"{outlet.ambient_max_C:g} C",
        ambient=f"{context.ambient_C:g} C",
    )


def _hung(row: BudgetRow) -> Hung:
    demand = row.demand
    peak = f", {show(demand.peak_A, 'A', 3)} at its peak" if demand.peak_A > demand.current_A else ""
    lead = f"{demand.lead.length_m:g} m of {demand.lead.area_mm2:.3g} mm²" if demand.lead.length_m else "no lead"
    states = (row.cold_alone, row.hot_alone, row.cold_together, row.hot_together)
    return Hung(
        name=demand.name,
        needs=f"{show(demand.minimum_V, 'V', 3)} at {show(demand.current_A, 'A', 3)}{peak}",
        lead=lead,
        states=tuple(_told(each) for each in states),
    )


def _told(served: Served) -> Told:
    return Told(
        served.verdict, WORKS[served.verdict], f"{served.margin_V:+.2f} V{'' if served.measured else ', drawn on'}"
    )


def _fitted(each: Alternative) -> Fitted:
    together = [row.hot_together.verdict for row in each.budget]
    works = [row.demand.name for row, verdict in zip(each.budget, together, strict=True) if verdict is Verdict.PASS]
    unsure = [
        row.demand.name for row, verdict in zip(each.budget, together, strict=True) if verdict is Verdict.DOUBTFUL
    ]
    doubt = f"; cannot tell of {', '.join(unsure)}" if unsure else ""
    return Fitted(
        name=each.name,
        usable=show(cut_A(each.usable.current_A), "A", 2),
        term=each.usable.term,
        works=(", ".join(works) or "nothing") + doubt,
        short=let_through(each),
    )


def _reads(answer: Answer, outlet: Outlet) -> Iterator[Read]:
    """Every current of the sweeps, the lowest first."""
    for current in sorted({point.current_A for point in (*answer.cold, *answer.hot)}):
        cold = [point for point in answer.cold if point.current_A == current]
        hot = [point.voltage.value for point in answer.hot if point.current_A == current]
        curve, band = answer.hot_curve, ""
        if curve is not None and current <= curve.last_A:
            band = f"± {show(curve.at(current).upper - curve.at(current).value, 'V', 2)}"
        warm = heat(outlet.limiter, current, outlet.ambient_max_C) if isinstance(outlet.limiter, ResistorData) else None
        yield Read(
            current=show(current, "A", 3),
            up=_volts([point.voltage.value for point in cold if point.rising]),
            down=_volts([point.voltage.value for point in cold if not point.rising]),
            hot=_volts(hot),
            band=band,
            heat="" if warm is None else f"{show(warm.heat_W, 'W', 2)}, {100 * warm.share:.0f} %",
        )


def _volts(values: Sequence[float | None]) -> str:
    known = [value for value in values if value is not None]
    return f"{known[0]:.4f} V" if known else ""


def _trip(outlet: Outlet, answer: Answer, lines: Sequence[Line]) -> Iterator[str]:
    """What is to be said of the fuse and its host, and of a trip test where there was one."""
    limiter = outlet.limiter
    if not isinstance(limiter, FuseData):
        return
    trips_at = f"{show(trip_A(limiter, outlet.ambient_max_C), 'A', 3)} at {outlet.ambient_max_C:g} C"
    delivers = show(outlet.delivers_A, "A", 3)
    suffers = f" A short takes {', '.join(outlet.shorted)}." if outlet.shorted else ""
    if can_trip(limiter, delivers_A=outlet.delivers_A, at_C=outlet.ambient_max_C):
        yield f"The host can deliver {delivers} into a short, more than the fuse needs to trip, {trips_at}.{suffers}"
    else:
        yield f"The host delivers {delivers} at the most, and the fuse need not trip below {trips_at}.{suffers}"
    together_A = max((row.hot_together.outlet_A for row in answer.fitted.budget), default=0.0) if answer.fitted else 0.0
    if together_A:
        does = region(limiter, together_A, outlet.ambient_max_C)
        at = f"{outlet.ambient_max_C:g} C"
        yield f"With all plugged in {show(together_A, 'A', 3)} flow: at {at} the fuse {does} then."
    yield from _held(lines)
    trip = outlet.trip
    if trip is None:
        yield "It was not tripped: that needs --trip, and somebody's permission."
        return
    yield f"A trip test at {show(trip.current_A, 'A', 3)} was permitted by {trip.permitted_by}."
    if trip.alone:
        reasons = ", ".join(trip.overloads)
        yield f"Refused in the host, where it would take {reasons}: tripped alone, on the bench supply."
    for line in lines:
        if line.measurement.phase is Phase.TRIP and line.reading.value is not None:
            yield from _tripped(line)
    if answer.threshold_A is not None:
        band = answer.threshold_A
        between = f"{show(band.lower, 'A', 3)} to {show(band.upper, 'A', 3)}"
        yield f"By its heat it carries {show(band.value, 'A', 3)} in still air without tripping ({between})."


def _held(lines: Sequence[Line]) -> Iterator[str]:
    """What the hold test found."""
    held = [moment for moment in resistances(lines) if moment.phase is Phase.HOLD]
    if not held:
        return
    top_A = max(moment.current_A for moment in held)
    at_top = [moment for moment in held if moment.current_A == top_A]
    yield (
        f"It held {show(top_A, 'A', 3)} for {show(at_top[-1].since_s, 's', 3)}: the source resistance went from "
        f"{show(at_top[0].ohm, 'ohm', 4)} to {show(at_top[-1].ohm, 'ohm', 4)}."
    )


def _tripped(line: Line) -> Iterator[str]:
    value, half = line.reading.value, line.reading.uncertainty or 0.0
    if line.measurement.measurand is Measurand.TIME_TO_TRIP:
        at = show(line.measurement.load_A, "A", 3)
        yield f"It tripped after {show(value, 's', 3)} ± {show(half, 's', 1)} at {at}."
    if line.measurement.measurand is Measurand.LOAD_CURRENT:
        yield f"Tripped it let {show(value, 'A', 2)} through; it was reset by switching the load off."


def _after(lines: Sequence[Line]) -> Iterator[tuple[str, str, str]]:
    """The resistance before and after a trip, with the time since it: what, time, ohm."""
    tripped = [moment for moment in resistances(lines) if moment.phase is Phase.TRIP and moment.index is None]
    by_pulse = [moment for moment in tripped if moment.current_A == tripped[-1].current_A]
    for number, moment in enumerate(by_pulse):
        yield (
            "before the trip" if number == 0 else "after it",
            show(moment.since_s, "s", 3) if number else "",
            show(moment.ohm, "ohm", 4),
        )


def _ceilings(answer: Answer) -> Iterator[tuple[str, str]]:
    for ceiling in answer.fitted.usable.ceilings if answer.fitted is not None else ():
        yield ceiling.term, show(ceiling.current_A, "A", 3)
