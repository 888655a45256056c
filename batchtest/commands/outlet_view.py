"""What a load test says, on the screen and for machines: the answer, the budget, what another part would do."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import asdict
from typing import TYPE_CHECKING, Any

from batchtest.pages.outlet_words import WORKS, let_through
from batchtest.quantities import show

if TYPE_CHECKING:
    from batchtest.capacity.answer import Answer
    from batchtest.capacity.model import Band, BudgetRow, Served
    from batchtest.capacity.outlet import Outlet
    from batchtest.outlet import OutletProcedure


def known_lines(procedure: OutletProcedure) -> Iterator[str]:
    """What was known before, and follows from it, a line each."""
    known = procedure.known
    yield f"stop, in the load and here: {show(known.stop_A, 'A', 3)}, by the {known.stop}; known to {known.asked_of}"
    trip = known.trip
    if trip is None:
        return
    yield f"trip test at {show(trip.current_A, 'A', 3)}, permitted by {trip.permitted_by}"
    if trip.alone:
        yield f"in the host that would take {', '.join(trip.overloads)}: the fuse is tripped alone, on the bench supply"


def print_answer(answer: Answer, known: Outlet) -> None:
    """Print the answer, the budget, and what other parts in series would give."""
    from rich.console import Console
    from rich.table import Table

    from batchtest.capacity.usable import cut_A

    console = Console(highlight=False)
    console.print(f"[bold]{answer.sentence}[/]")
    for line in _found(answer):
        console.print(line)
    if answer.fitted is None:
        return
    budget = Table("to hang on it", "needs", "cold", "hot", "hot, all plugged in", "margin", box=None, pad_edge=False)
    for row in answer.fitted.budget:
        demand = row.demand
        needs = f"{show(demand.minimum_V, 'V', 3)} at {show(demand.peak_A, 'A', 2)}"
        said = [WORKS[each.verdict] for each in (row.cold_alone, row.hot_alone, row.hot_together)]
        budget.add_row(demand.name, needs, *said, show(row.hot_together.margin_V, "V", 2))
    if answer.fitted.budget:
        console.print(budget)
    others = Table(
        "in series", f"usable at {known.ambient_max_C:g} C", "limited by", "into a short", box=None, pad_edge=False
    )
    for each in (answer.fitted, *answer.others):
        usable = each.usable
        others.add_row(each.name, show(cut_A(usable.current_A), "A", 2), usable.term, let_through(each))
    console.print(others)


def answer_json(answer: Answer) -> dict[str, Any]:
    """The answer for machines: SI units, intervals of 95 %."""
    fitted = answer.fitted
    return {
        "answer": answer.sentence,
        "usable_A": None if fitted is None else fitted.usable.current_A,
        "at_C": None if fitted is None else fitted.usable.at_C,
        "limited_by": None if fitted is None else fitted.usable.term,
        "source_ohm_cold": _band(answer.cold_fit.ohm if answer.cold_fit else None),
        "source_ohm_hot": _band(answer.hot_fit.ohm if answer.hot_fit else None),
        "knee": None if answer.knee is None else asdict(answer.knee),
        "budget": [] if fitted is None else [_budget_json(each) for each in fitted.budget],
        "what_if": [
            {
                "name": each.name,
                "usable_A": each.usable.current_A,
                "limited_by": each.usable.term,
                "into_a_short": let_through(each),
            }
            for each in answer.others
        ],
    }


def _budget_json(row: BudgetRow) -> dict[str, Any]:
    states = {
        "cold_alone": row.cold_alone,
        "hot_alone": row.hot_alone,
        "cold_together": row.cold_together,
        "hot_together": row.hot_together,
    }
    return {"name": row.demand.name, **{state: _served_json(served) for state, served in states.items()}}


def _served_json(served: Served) -> dict[str, Any]:
    return {"verdict": served.verdict.value, "margin_V": served.margin_V, "outlet_A": served.outlet_A}


def _found(answer: Answer) -> Iterator[str]:
    """Source resistance cold and hot, and where the source gave up."""
    for when, fit in (("by short pulses", answer.cold_fit), ("at thermal rest", answer.hot_fit)):
        if fit is not None:
            half = (fit.ohm.upper - fit.ohm.lower) / 2
            yield f"source resistance {when}: {show(fit.ohm.value, 'ohm', 5)} +- {show(half, 'ohm', 2)}"
    if answer.knee is not None:
        last, bad = show(answer.knee.last_good_A, "A", 3), show(answer.knee.first_bad_A, "A", 3)
        yield f"{answer.knee.kind.value}: {last} was held, {bad} was not"


def _band(band: Band | None) -> dict[str, float] | None:
    return None if band is None else {"value": band.value, "lower": band.lower, "upper": band.upper}
