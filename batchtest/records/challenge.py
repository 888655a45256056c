"""The last challenge of a bench with a fixture: `reports/challenges/<station>.<bench>.<fixture>.json`, and its records.

What the file says counts only as far as its two records say the same: they are in the station's chain, the file is not.
A simulated bench speaks for no other that stands at the same station.
"""

from __future__ import annotations

from datetime import timedelta
from pathlib import Path

from pydantic import TypeAdapter

from batchtest.errors import RecordError
from batchtest.files.library import Setup
from batchtest.nouns import Challenge, Outcome
from batchtest.records.disk import make_folder, on_disk, write_whole
from batchtest.records.record import Record, read_record

#: The batch under which the attempts of challenges are kept.
BATCH = "challenges"
#: What the attempts must have come to: the wrong cable refused, the right one not.
_OUTCOMES = (Outcome.REFUSED, Outcome.PASS)
#: A challenge is written once its second record is closed, and no later than this.
_WRITTEN_WITHIN = timedelta(minutes=1)
_CHALLENGE = TypeAdapter(Challenge)


def write_challenge(reports: Path, challenge: Challenge) -> Path:
    """Keep a challenge as the last one of its bench and fixture.

    Raises
    ------
    RecordError : the disk does not take it.
    """
    path = _path(reports, challenge.station, challenge.bench, challenge.fixture)
    with on_disk(f"{path} cannot be written"):
        make_folder(path.parent)
        write_whole(path, _CHALLENGE.dump_json(challenge, indent=1).decode() + "\n")
    return path


def last_challenge(reports: Path, setup: Setup) -> Challenge | None:
    """The last challenge of a bench with a fixture, or `None` where there was none.

    Raises
    ------
    RecordError : the file is damaged, or its records do not bear it out; says what to do.
    """
    path = _path(reports, setup.bench.station, setup.bench_name, setup.fixture_name)
    if not path.exists():
        return None
    with on_disk(f"{path} cannot be read"):
        text = path.read_bytes()
    try:
        challenge = _CHALLENGE.validate_json(text)
        if challenge.at.tzinfo is None:
            raise ValueError("a time without its offset")
    except ValueError as error:  # pydantic's ValidationError is one too
        raise RecordError(f"{path} is damaged; challenge the bench again") from error
    if challenge.passed:
        _bear_out(reports, challenge, path)
    return challenge


def _bear_out(reports: Path, challenge: Challenge, path: Path) -> None:
    """Raise RecordError where the two records are not of this challenge, or do not say what it says."""
    for name, outcome in zip(challenge.records, _OUTCOMES, strict=True):
        record = read_record(reports / name)
        if not record.unaltered or record.closing.outcome is not outcome or not _same_place(record, challenge):
            raise _not_borne_out(path, name)
        if outcome is Outcome.REFUSED and challenge.wrong not in (record.closing.first_cause or ""):
            raise _not_borne_out(path, name)
    if not timedelta() <= challenge.at - record.closing.ended <= _WRITTEN_WITHIN:
        raise _not_borne_out(path, name)


def _same_place(record: Record, challenge: Challenge) -> bool:
    context = record.context
    told = (context.batch, context.station, context.bench, context.fixture, context.cable)
    return told == (BATCH, challenge.station, challenge.bench, challenge.fixture, challenge.cable)


def _not_borne_out(path: Path, record: str) -> RecordError:
    return RecordError(
        f"{path} says that the challenge passed, its record {record} does not; challenge the bench again"
    )


def _path(reports: Path, station: str, bench: str, fixture: str) -> Path:
    return reports / BATCH / f"{station}.{bench}.{fixture}.json"
