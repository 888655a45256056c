"""The last challenge on the disk: what it says counts only as far as its two records say the same."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from stations import demo_setup

from batchtest.errors import RecordError
from batchtest.nouns import Challenge, Outcome
from batchtest.records.challenge import last_challenge, write_challenge

from .contexts import STARTED, closed

ENDED = STARTED + timedelta(seconds=90)
CAUSE = "the cable reads like mist-lead: its pink wire (PK), board pin 6, goes to host pin 6, not 5"
NOT_BORNE_OUT = r"challenges/bench-1\.simulated\.vent-nest\.json says that the challenge passed, its record {} does not"


def a_challenge(reports: Path, **changes: object) -> Challenge:
    """A challenge that passed, with its two records."""
    first = closed(reports, "golden", Outcome.REFUSED, CAUSE, batch="challenges")
    second = closed(reports, "golden", Outcome.PASS, batch="challenges")
    found = Challenge(
        station="bench-1",
        bench="simulated",
        fixture="vent-nest",
        cable="vent-lead",
        wrong="mist-lead",
        passed=True,
        why="mist-lead was refused by its name",
        told_by="pin map spare",
        at=ENDED + timedelta(seconds=1),
        records=(first.record, second.record),
    )
    return replace(found, **changes)  # type: ignore[arg-type]


def last(reports: Path) -> Challenge | None:
    """The last challenge of the demo's bench."""
    return last_challenge(reports, demo_setup())


def altered(path: Path, key: str, value: object) -> None:
    """Write another value into a challenge's file."""
    path.write_text(json.dumps({**json.loads(path.read_text()), key: value}))


def test_a_challenge_is_read_back_as_it_was(tmp_path: Path):
    """All of it, and the newest one takes the place of the one before."""
    write_challenge(tmp_path, a_challenge(tmp_path, passed=False, why="refused, but not by its name"))
    found = a_challenge(tmp_path)
    assert write_challenge(tmp_path, found) == tmp_path / "challenges" / "bench-1.simulated.vent-nest.json"
    assert last(tmp_path) == found


def test_a_bench_that_was_never_challenged_has_none(tmp_path: Path):
    """No folder, no file."""
    assert last(tmp_path) is None


@pytest.mark.parametrize("changes", [{"station": "bench-2"}, {"bench": "lan"}, {"fixture": "mist-nest"}])
def test_a_challenge_of_another_bench_is_none_of_this_one(tmp_path: Path, changes: dict[str, str]):
    """Another station, another fixture, and above all: a simulated bench speaks for no real one."""
    write_challenge(tmp_path, a_challenge(tmp_path, **changes))
    assert last(tmp_path) is None


def test_one_that_failed_needs_no_records_to_be_believed(tmp_path: Path):
    """It excuses nothing."""
    found = a_challenge(tmp_path, passed=False, records=("challenges/gone.1.csv", "challenges/gone.2.csv"))
    write_challenge(tmp_path, found)
    assert last(tmp_path) == found


@pytest.mark.parametrize("which", [1, 2])
def test_a_record_altered_afterwards_bears_out_nothing(tmp_path: Path, which: int):
    """One digit of a reading, in either record."""
    write_challenge(tmp_path, a_challenge(tmp_path))
    csv = tmp_path / "challenges" / f"golden.{which}.csv"
    before = csv.read_bytes()
    csv.write_bytes(before.replace(b"4.98", b"4.97", 1))
    assert csv.read_bytes() != before
    with pytest.raises(RecordError, match=NOT_BORNE_OUT.format(rf"challenges/golden\.{which}\.csv")):
        last(tmp_path)
    csv.write_bytes(before)
    assert last(tmp_path) is not None


@pytest.mark.parametrize("ending", ["csv", "csv-metadata.json"])
def test_a_record_that_is_gone_bears_out_nothing(tmp_path: Path, ending: str):
    """Named, so that it can be put back."""
    write_challenge(tmp_path, a_challenge(tmp_path))
    (tmp_path / "challenges" / f"golden.2.{ending}").unlink()
    with pytest.raises(RecordError, match=rf"golden\.2\.{ending}"):
        last(tmp_path)


@pytest.mark.parametrize(
    "at", [ENDED - timedelta(seconds=1), ENDED + timedelta(minutes=2), ENDED + timedelta(days=200)], ids=str
)
def test_a_challenge_cannot_be_made_younger_than_its_records(tmp_path: Path, at: datetime):
    """Its age counts, and its records know it."""
    path = write_challenge(tmp_path, a_challenge(tmp_path))
    altered(path, "at", at.isoformat())
    with pytest.raises(RecordError, match=NOT_BORNE_OUT.format(r"challenges/golden\.2\.csv")):
        last(tmp_path)


@pytest.mark.parametrize(
    ("first", "context"),
    [
        pytest.param((Outcome.PASS, None), {}, id="not-refused"),
        pytest.param((Outcome.STOPPED, CAUSE), {}, id="stopped"),
        pytest.param((Outcome.REFUSED, "contact TP3: they do not both touch"), {}, id="refused-by-no-name"),
        pytest.param((Outcome.REFUSED, CAUSE), {"batch": "spring-1"}, id="of-a-batch"),
        pytest.param((Outcome.REFUSED, CAUSE), {"station": "bench-2"}, id="of-another-station"),
        pytest.param((Outcome.REFUSED, CAUSE), {"bench": "lan"}, id="of-another-bench"),
        pytest.param((Outcome.REFUSED, CAUSE), {"fixture": "mist-nest"}, id="of-another-fixture"),
        pytest.param((Outcome.REFUSED, CAUSE), {"cable": "mist-lead"}, id="of-another-cable"),
    ],
)
def test_a_failed_challenge_cannot_be_written_up(
    tmp_path: Path, first: tuple[Outcome, str | None], context: dict[str, str]
):
    """Whoever writes "passed" over it, or takes records of something else for it, is told by the records."""
    other = closed(tmp_path, "VN-0001", *first, **{"batch": "challenges", **context})
    challenge = a_challenge(tmp_path)
    write_challenge(tmp_path, replace(challenge, records=(other.record, challenge.records[1])))
    with pytest.raises(RecordError, match=NOT_BORNE_OUT.format(rf"{other.batch}/VN-0001\.1\.csv")):
        last(tmp_path)


def test_a_right_cable_that_was_refused_cannot_be_written_up(tmp_path: Path):
    """The second record counts as the first does."""
    challenge = a_challenge(tmp_path)
    write_challenge(tmp_path, replace(challenge, records=(challenge.records[0], challenge.records[0])))
    with pytest.raises(RecordError, match=NOT_BORNE_OUT.format(r"challenges/golden\.1\.csv")):
        last(tmp_path)


@pytest.mark.parametrize(
    "text",
    ["", "{}", "[]", "\x00", '{"station": 1}', None],
    ids=["empty", "no-key", "list", "zero", "key", "no-offset"],
)
def test_a_damaged_file_is_said_to_be_so(tmp_path: Path, text: str | None):
    """With the cure; a time without its offset is none."""
    path = write_challenge(tmp_path, a_challenge(tmp_path))
    altered(path, "at", "2026-03-02T08:16:31") if text is None else path.write_text(text)
    with pytest.raises(RecordError, match=r"nest\.json is damaged; challenge the bench again"):
        last(tmp_path)


def test_a_disk_that_does_not_take_it_is_an_error(tmp_path: Path):
    """A challenge that is not kept did not happen."""
    (tmp_path / "challenges").write_text("a file where the folder should be")
    challenge = a_challenge(tmp_path / "elsewhere")
    with pytest.raises(RecordError, match="cannot be written"):
        write_challenge(tmp_path, challenge)
