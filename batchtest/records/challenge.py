"""The last challenge of a station at a fixture: `reports/challenges/<station>.<fixture>.json`, and its two records.

What the file says counts only as far as its records say the same: they are in the station's chain, the file is not.
"""

from __future__ import annotations

from pathlib import Path

from pydantic import TypeAdapter, ValidationError

from batchtest.errors import RecordError
from batchtest.nouns import Challenge, Outcome
from batchtest.records.disk import on_disk, write_whole
from batchtest.records.record import read_record

#: The batch under which the attempts of challenges are kept.
BATCH = "challenges"
#: What the attempts must have come to: the wrong cable refused, the right one not.
_OUTCOMES = (Outcome.REFUSED, Outcome.PASS)
_CHALLENGE = TypeAdapter(Challenge)


def write_challenge(reports: Path, challenge: Challenge) -> Path:
    """Keep a challenge as the last one of its station and fixture.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    path = _path(reports, challenge.station, challenge.fixture)
    with on_disk(f"{path} cannot be written"):
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, _CHALLENGE.dump_json(challenge, indent=1).decode() + "\n")
    return path


def last_challenge(reports: Path, station: str, fixture: str) -> Challenge | None:
    """The last challenge, or `None` where there was none. One that its records do not bear out has not passed.

    Raises
    ------
    RecordError : the file is damaged; says what to do.
    """
    path = _path(reports, station, fixture)
    if not path.exists():
        return None
    try:
        with on_disk(f"{path} cannot be read"):
            challenge = _CHALLENGE.validate_json(path.read_bytes())
    except ValidationError as error:
        raise RecordError(f"{path} is damaged; delete it and challenge the bench again") from error
    if challenge.passed:
        _bear_out(reports, challenge, path)
    return challenge


def _bear_out(reports: Path, challenge: Challenge, path: Path) -> None:
    for name, outcome in zip(challenge.records, _OUTCOMES, strict=True):
        record = read_record(reports / name)
        context = record.context
        told = (context.station, context.fixture, record.closing.outcome)
        if not record.unaltered or told != (challenge.station, challenge.fixture, outcome):
            raise RecordError(
                f"{path} says that the challenge passed, its record {name} does not; challenge the bench again"
            )


def _path(reports: Path, station: str, fixture: str) -> Path:
    return reports / BATCH / f"{station}.{fixture}.json"
