"""What the page of a host says in plain words: outcomes, and what to do next. A host belongs to somebody else."""

from __future__ import annotations

from batchtest.nouns import Outcome

#: What an outcome means of a host that was mapped with nothing mated to it.
MEANINGS: dict[Outcome, str] = {
    Outcome.PASS: "With nothing mated to it, this host has on its pins what its circuit says, and nothing else.",
    Outcome.FAIL: "At least one pin does not have on it what the host's circuit says.",
    Outcome.DOUBTFUL: "At least one pin is too close to its bounds to tell.",
    Outcome.STOPPED: "The bench was at fault. The host was not judged.",
    Outcome.REFUSED: "It was not shown that this host has on its pins what its circuit says. Nothing was mated to it.",
}

_ISOLATE = "Isolate the host at its mains and lock it off before anyone unplugs or opens it."


def next_steps(outcome: Outcome, fixture: str) -> tuple[str, ...]:
    """What the person at the host does now, in order."""
    if outcome is Outcome.PASS:
        return ("A board or a load test may follow; after five minutes, or another host, it is mapped anew.",)
    if outcome is Outcome.STOPPED:
        return (
            _ISOLATE,
            "Find what was wrong with the bench (the cause is named above) and put it right.",
            "Map the host anew. Nothing here counts for or against it.",
        )
    return (
        "Mate no board and no cable to this host.",
        _ISOLATE,
        f"Look at the break-out plug first: it must be {fixture}, pushed home, every wire on its own pin.",
        "The same again with another plug: tell whoever owns the host. Repairs inside are for licensed or competent "
        "persons, as local codes say.",
    )
