"""What a page says in plain words: outcomes, what to do next, the decision rule, and cautions to the next person."""

from __future__ import annotations

from collections.abc import Iterable

from batchtest.nouns import Line, Measurand, Outcome, Phase, Verdict

#: Phases in which there is power on what is on the bench.
POWERED = (Phase.HOST, Phase.COLD, Phase.HOT, Phase.HOLD, Phase.TRIP, Phase.SOFT_START, Phase.LOAD)
#: The same, but for a trip test: its fuse may be alone in a holder while the host is dead already.
ON_THE_BENCH = tuple(phase for phase in POWERED if phase is not Phase.TRIP)

#: What an outcome means, one sentence, beside its word.
MEANINGS: dict[Outcome, str] = {
    Outcome.PASS: "Every reading lies inside its limits, and every one was taken.",
    Outcome.FAIL: "At least one reading lies outside its limits.",
    Outcome.DOUBTFUL: "No reading lies outside its limits, but at least one is too close to a limit to tell.",
    Outcome.STOPPED: "The bench was at fault. The board was not judged.",
    Outcome.REFUSED: "Cable or fixture were not proven safe. Nothing was powered.",
}

#: Own words, common practice, no source. They defer to local codes and to people licensed for the work.
CAUTIONS: tuple[str, ...] = (
    "No page and no program makes equipment safe. Isolate it, lock it off, and prove it dead with a tester that you "
    "have just checked on a known source.",
    "Work inside a mains-fed cabinet is for licensed or competent persons where local law says so. Local codes and "
    "your workshop's rules come before this page.",
    "Capacitors keep charge after switch-off, and some of it comes back. Discharge through a resistor, then measure.",
    "Resistors, self-resetting fuses and electronic loads stay hot for minutes. Let them cool before you touch.",
    "Extra-low voltage burns too: take off rings and watch straps, and fuse the bench supply.",
    "First power after a repair: lid down or eye protection on, low voltage, low current limit.",
    "Never raise a current limit, or defeat protective earth, to see what happens. If a result surprises you, stop.",
    "A damaged or unknown lead does not go back into the drawer.",
    "The host belongs to the customer: ask before any load test on it.",
)

DISCLAIMER = "These are test results of boards as received; no accredited calibration is claimed."
#: Above this a board is not shown safe to handle, V. Common practice, no source.
HANDLING_V = 1.0

_RULES = {
    "guarded": (
        "Guarded acceptance: each limit is tightened by a guard band w = U, where U is the expanded uncertainty of "
        "that very reading (k = 2, about 95 %). A reading passes only inside the tightened limits. Between a tightened "
        "limit and the limit it is doubtful: measured inside, but not shown to be inside. Outside a limit it fails. A "
        "reading that just passes is in truth outside its limit with a probability of 2.3 % at most."
    ),
    "plain": (
        "Simple acceptance: a reading passes inside its limits and fails outside; its expanded uncertainty U (k = 2, "
        "about 95 %) is stated but not taken off (w = 0). A reading that lies on a limit is in truth outside it with a "
        "probability of up to 50 %."
    ),
}


def meaning(outcome: Outcome, waived: int) -> str:
    """What an outcome means, where so many readings did not pass and are waived: it claims nothing of those."""
    said = MEANINGS[outcome]
    if not waived or outcome not in (Outcome.PASS, Outcome.DOUBTFUL):
        return said
    readings = "one waived reading" if waived == 1 else f"{waived} waived readings"
    return f"But for {readings}: {said[0].lower()}{said[1:]}"


def rule_text(rule: str) -> str:
    """The decision rule in words; a rule that is not known is named, not explained."""
    return _RULES.get(rule, f"Decision rule: {rule}.")


def was_powered(lines: Iterable[Line]) -> bool:
    """Whether any reading was taken with power on."""
    return any(line.measurement.phase in POWERED for line in lines)


def danger(outcome: Outcome, lines: Iterable[Line], kind: str = "board") -> str | None:
    """What may hurt the next person, or `None`: a board powered, or found live, and not shown dead after that.

    Where the bench was at fault it may have powered the board without a reading to show for it. `kind` is what was on
    the bench, "board", "host" or "outlet".
    """
    together, what = list(lines), "host" if kind == "outlet" else kind
    maybe_powered = was_powered(together) or outcome is Outcome.STOPPED
    if maybe_powered and not shown_dead(together):
        return f"No reading shows that the {what} was dead at the end. Treat it as live until you have measured it."
    live = [line for line in together if line.measurement.phase is Phase.GATE and _found_live(line)]
    if live:
        names = ", ".join(sorted({line.measurement.point for line in live}))
        return f"Voltage was found before any power was applied, at: {names}. Treat the {what} as live."
    return None


def shown_dead(lines: Iterable[Line]) -> bool:
    """Whether the last look after power-down found every point dead, between two right readings of the known voltage.

    What was seen before the last reading under power shows nothing: a host is mapped, and dead, before it is loaded.
    Records from before the known voltage was read there have none.
    """
    together = list(lines)
    under_power = [place for place, line in enumerate(together, start=1) if line.measurement.phase in ON_THE_BENCH]
    later = together[max(under_power, default=0) :]
    left = [line for line in later if line.measurement.phase is Phase.POWER_DOWN]
    known = [_is_known(line) for line in left]
    last = {line.measurement.point: line for line in left if not _is_known(line)}
    whole = not any(known) or (known[0] and known[-1] and len(known) > 1)
    return bool(last) and whole and all(_dead(line) for line in [*last.values(), *filter(_is_known, left)])


def safety(outcome: Outcome, lines: Iterable[Line], kind: str = "board") -> str | None:
    """What is said of touching a board that was powered, or of one that may hurt; `None` where there is nothing to say.

    Only measured voltages say "safe to disconnect".
    """
    together = list(lines)
    hazard = danger(outcome, together, kind)
    if hazard is not None:
        return f"DANGER: {hazard}"
    return "safe to disconnect, by measurement" if was_powered(together) else None


def next_steps(
    outcome: Outcome, again: bool, *, powered: bool, cable: str = "the fixture's own", fixture: str = "the one named"
) -> tuple[str, ...]:
    """What the person at the bench does now, in order; `again`: one person may test the board once more."""
    match outcome:
        case Outcome.PASS:
            return ("The board may go on: label it with its serial and this attempt.",)
        case Outcome.FAIL:
            return _after_fail(again, powered=powered)
        case Outcome.DOUBTFUL:
            return (
                "Keep the board apart from those that passed.",
                "Measure again with a smaller U: a lower range, a better meter, more readings, a younger calibration.",
                "Still doubtful: ask whoever owns the limits. Only they may accept it, in writing.",
            )
        case Outcome.STOPPED:
            return (
                "Leave the board in the queue. Nothing here counts for or against it.",
                "Find what was wrong with the bench (the cause is named above) and put it right.",
                "Start the batch again. This serial is tested anew, as its next attempt, gate included.",
            )
        case Outcome.REFUSED:
            return (
                f"Nothing was powered. Check the cable: it must be {cable}, pushed home and locked at both ends.",
                f"Check the fixture: it must be {fixture}, lid closed, needles clean, board seated.",
                "Do not try cables until one is taken. A lead you are not sure of comes off the bench.",
                "Start the batch again. No flag skips the proof.",
            )


def _after_fail(again: bool, *, powered: bool) -> tuple[str, ...]:
    first = (
        "Red tray. Tie on a fail tag with the serial and the cause.",
        "It failed cold and was never powered. Do not power it, here or elsewhere, before it is repaired."
        if not powered
        else "Do not ship it, and do not load it further.",
    )
    if not again:
        return (*first, "No retest is left without a second person. To the repair queue, with this page.")
    return (
        *first,
        "One retest is allowed: take the board out, look at needles and pads, seat it again. Both attempts are kept.",
        "Fails again: to the repair queue, with this page.",
    )


def _dead(line: Line) -> bool:
    if line.judgement is not None:
        return line.judgement.verdict is Verdict.PASS
    return line.reading.value is not None and abs(line.reading.value) < HANDLING_V


def _is_known(line: Line) -> bool:
    return line.measurement.point == "reference"


def _found_live(line: Line) -> bool:
    of_board = line.measurement.measurand is Measurand.VOLTAGE and not _is_known(line)
    value = line.reading.value
    return of_board and value is not None and abs(value) >= HANDLING_V
