"""What the page of an outlet says in plain words: outcomes, what to do next, what was found. A host is somebody's."""

from __future__ import annotations

from collections.abc import Iterator

from batchtest.capacity.answer import Answer
from batchtest.capacity.model import Alternative, Difference, KneeKind, SourceFit
from batchtest.capacity.outlet import Outlet
from batchtest.nouns import Outcome, Verdict
from batchtest.quantities import show

#: What an outcome means of an outlet that was load-tested.
MEANINGS: dict[Outcome, str] = {
    Outcome.PASS: "This outlet gives what its limits ask for, and its host was dead again at the end.",
    Outcome.FAIL: "This outlet does not give what its limits ask for.",
    Outcome.DOUBTFUL: "This outlet is too close to a limit to tell.",
    Outcome.STOPPED: "The bench was at fault. The outlet was not judged.",
    Outcome.REFUSED: "It was not shown that this host has on its pins what its circuit says. Nothing was drawn.",
}

#: How a demand fares.
WORKS: dict[Verdict, str] = {
    Verdict.PASS: "works",
    Verdict.FAIL: "does not work",
    Verdict.DOUBTFUL: "cannot tell",
    Verdict.UNREAD: "not measured",
}

_ISOLATE = "Isolate the host at its mains and lock it off before anyone unplugs or opens it."


def next_steps(outcome: Outcome) -> tuple[str, ...]:
    """What the person at the host does now, in order."""
    if outcome is Outcome.PASS:
        return ("Hang on it what the budget says will work, and nothing more.",)
    if outcome is Outcome.STOPPED:
        return (
            _ISOLATE,
            "Find what was wrong with the bench (the cause is named above) and put it right.",
            "Let the host cool, then test its outlet anew. Nothing here counts for or against it.",
        )
    if outcome is Outcome.REFUSED:
        return (
            _ISOLATE,
            "Draw nothing from this host.",
            "Map it by itself first: batchtest host, then look at the plug.",
        )
    return (
        "Hang nothing on this outlet that the budget does not say will work.",
        "Tell whoever owns the host what limits it, and what another part in series would change (below).",
        "Changes inside are for licensed or competent persons, as local codes say; test the outlet again after one.",
    )


def found(answer: Answer, outlet: Outlet) -> Iterator[str]:
    """What the sweeps show, a sentence each."""
    for when, fit in (("By short pulses", answer.cold_fit), ("At thermal rest", answer.hot_fit)):
        if fit is not None:
            how = f"95 % interval, least squares over {len(fit.currents_A)} points"
            about = f"{show(fit.residual_V, 'V', 2)} about the line"
            yield f"{when} the source resistance is {_ohms(fit)} ({how}, {about})."
            yield from _beyond_noise(fit)
    yield from _low_and_high(answer)
    if answer.warming is not None and answer.warming.real:
        rise, within = (show(each, "ohm", 2) for each in (answer.warming.value, answer.warming.uncertainty))
        yield f"At rest it has {rise} ± {within} more for each watt that is lost in it: it warms."
    unsettled = sum(not point.voltage.settled for point in answer.hot)
    if unsettled:
        yield f"{unsettled} of the hot points had not come to rest when their time was over."
    left_out = sum(not point.voltage.regulated for point in (*answer.cold, *answer.hot))
    if left_out:
        yield f"{left_out} points were not held by source or load; they are drawn as crosses and are in no fit."
    if answer.knee is not None:
        last, bad = show(answer.knee.last_good_A, "A", 3), show(answer.knee.first_bad_A, "A", 3)
        how = "collapsed" if answer.knee.kind is KneeKind.COLLAPSE else f"shows a {answer.knee.kind.value}"
        yield f"The source {how}: {last} was held, {bad} was not. It was stopped there, and not tried again."
    yield (
        f"The stop was {show(outlet.stop_A, 'A', 3)}, set in the load and here by the {outlet.stop}. With the mains at "
        f"their lowest the outlet may be {show(outlet.low_mains_V, 'V', 2)} lower; that is taken off."
    )


def _low_and_high(answer: Answer) -> Iterator[str]:
    """Resistance at low and at high currents, where the two are not one within their intervals."""
    low, high = answer.low_fit, answer.high_fit
    if low is None or high is None or (low.ohm.lower <= high.ohm.upper and high.ohm.lower <= low.ohm.upper):
        return
    up_to, from_ = show(max(low.currents_A), "A", 3), show(min(high.currents_A), "A", 3)
    yield f"It is not one resistance: {_ohms(low)} up to {up_to}, {_ohms(high)} from {from_} on."


def let_through(alternative: Alternative) -> str:
    """What passes into a short or a miswired lead."""
    passed = alternative.let_through
    flows = show(passed.current_A, "A", 2)
    if passed.allowed_W is not None:
        heat, allowed = show(passed.heat_W, "W", 2), show(passed.allowed_W, "W", 2)
        return f"{flows} at once and for good: {heat} in a part that may shed {allowed}"
    if passed.lasts_s == float("inf"):
        return f"{flows}, and the fuse need never trip: the host's own parts overheat instead"
    return (
        f"{flows} for up to {show(passed.lasts_s, 's', 2)}, then {show(passed.after_A, 'A', 2)} until it is unplugged"
    )


def _ohms(fit: SourceFit) -> str:
    half = (fit.ohm.upper - fit.ohm.lower) / 2
    return f"{show(fit.ohm.value, 'ohm', 5)} ± {show(half, 'ohm', 2)}"


def _beyond_noise(fit: SourceFit) -> Iterator[str]:
    if fit.curvature_V is not None and fit.curvature_V.real:
        yield f"The line is bent beyond noise, by {_volts(fit.curvature_V)} in its middle: it is no plain resistance."
    if fit.up_down_V is not None and fit.up_down_V.real:
        yield f"Down differs from up beyond noise, by {_volts(fit.up_down_V)}: the pulses warmed it."


def _volts(difference: Difference) -> str:
    return f"{show(difference.value, 'V', 2)} ± {show(difference.uncertainty, 'V', 2)}"
