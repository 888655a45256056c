"""The challenge: a bench must refuse a wrong cable by its own name before its "right" means anything."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from datetime import datetime

from batchtest.errors import NotProven
from batchtest.nouns import Attempt, Challenge, Outcome
from batchtest.records.challenge import BATCH, write_challenge
from batchtest.sequencer.attempt import Ending, Station, try_gate
from batchtest.sequencer.batch import BatchObserver, Job, run_one

#: What the board in the nest is called while the cables are tried: one that is known to be good.
GOLDEN = "golden"


def run_challenge(
    station: Station,
    job: Job,
    wrong: str,
    *,
    fit: Callable[[str], None],
    place: Callable[[str], None],
    observer: BatchObserver,
) -> Challenge:
    """Have the wrong cable fitted and tried, then the right one; nothing is powered, everything is recorded.

    Parameters
    ----------
    wrong : a cable of the library that is not the fixture's.
    fit : has a cable fitted, by name.
    place : has the golden board placed.

    Raises
    ------
    BenchError, KeyboardInterrupt, ... : whatever stopped it; there is no challenge then.
    """
    right = station.setup.fixture.cable
    first, refusal = _try(station, job, wrong, fit, place, observer)
    second, acceptance = _try(station, job, right, fit, place, observer)
    expected = station.procedure.suspects.signature.best[wrong].name
    passed, why = _judged(wrong, right, expected, refusal, second, acceptance)
    challenge = Challenge(
        station=station.setup.bench.station,
        bench=station.setup.bench_name,
        fixture=station.setup.fixture_name,
        cable=right,
        wrong=wrong,
        passed=passed,
        why=why,
        told_by=expected,
        at=datetime.now().astimezone(),
        records=(first.record, second.record),
    )
    write_challenge(job.reports, challenge)
    return challenge


def _try(
    station: Station,
    job: Job,
    cable: str,
    fit: Callable[[str], None],
    place: Callable[[str], None],
    observer: BatchObserver,
) -> tuple[Attempt, Ending]:
    def prepare(serial: str) -> None:
        fit(cable)
        place(serial)

    station.memory.proven = False
    attempt, ending = run_one(station, replace(job, batch=BATCH), GOLDEN, prepare, observer, try_gate)
    if ending.error is not None and not isinstance(ending.error, NotProven):
        raise ending.error
    return attempt, ending


def _judged(
    wrong: str, right: str, expected: str, refusal: Ending, second: Attempt, acceptance: Ending
) -> tuple[bool, str]:
    error = refusal.error
    if not isinstance(error, NotProven):
        return False, f"{wrong} was fitted and not refused: this bench would power a wrong cable"
    if error.looks_like != wrong:
        return False, f"{wrong} was fitted and refused, but not by its name: {error}"
    if expected not in error.told_by:
        return False, f"{wrong} was refused by its name, but not from {expected}, which must tell it: {error}"
    if acceptance.error is not None:
        return False, f"{wrong} was refused as it must be, but so was {right} after it: {acceptance.error}"
    if second.outcome is not Outcome.PASS:
        return (
            False,
            f"{wrong} was refused as it must be, but the golden board failed with {right}: {second.first_cause}",
        )
    return True, f"{wrong} was refused by its name from {expected}, and {right} accepted after it"
