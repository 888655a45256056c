"""What `batchtest boards --json` says at the end."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING

from batchtest.pages.words import danger
from batchtest.records.waiver import as_table

if TYPE_CHECKING:
    from batchtest.commands.boards import Wanted
    from batchtest.nouns import Attempt, Challenge, Waiver


def batch_json(
    wanted: Wanted,
    attempts: Sequence[Attempt],
    challenge: Challenge | None,
    waivers: Sequence[Waiver],
    likely: Mapping[str, Sequence[str]],
    error: BaseException | None,
) -> str:
    """One object: the batch and its attempts, the challenge that counts, and what was waived when it began.

    Parameters
    ----------
    likely : serial -> what probably failed, of the boards of which that is known by now.
    error : what ended the batch early.
    """
    found: dict[str, object] = {
        "batch": wanted.batch,
        "attempts": [
            {
                "serial": attempt.serial,
                "attempt": attempt.number,
                "outcome": attempt.outcome.value,
                "first_cause": attempt.first_cause,
                "danger": danger(attempt.outcome, attempt.lines),
                "record": str(wanted.reports / attempt.record),
            }
            for attempt in attempts
        ],
        "likely_causes": {serial: list(lines) for serial, lines in likely.items()},
        "skipped": list(wanted.skipped),
        "challenge": None if challenge is None else asdict(challenge),
        "waivers": [as_table(waiver) for waiver in waivers],
    }
    if error is not None:
        found["error"] = str(error) or type(error).__name__
    return json.dumps(found, default=str)
