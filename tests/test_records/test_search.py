"""Which boards something touched: nothing that was touched is missed, and what cannot be known is said."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest

from batchtest.errors import SetupError
from batchtest.nouns import Outcome
from batchtest.records.journal import Journal
from batchtest.records.search import FIELDS, Found, Wanted, search

from .contexts import CONTEXT, STARTED, closed
from .old_facts import OLD

OLD_REPORTS = OLD / "1" / "reports"
MINUTE = timedelta(minutes=1)
#: When the records of `contexts.closed` end.
ENDED = STARTED + timedelta(seconds=90)


def names(found: Found) -> list[str]:
    """What was found, as batch/serial.attempt."""
    return [f"{one.context.batch}/{one.context.serial}.{one.context.attempt}" for one in found.attempts]


@pytest.mark.parametrize(
    ("values", "expected"),
    [
        pytest.param({"fixture": "cabinet-breakout"}, ["hosts/CB-001.1"], id="fixture"),
        pytest.param({"bench": "worn"}, ["waived/VN-0002.1"], id="bench"),
        pytest.param({"serial": "VN-0002"}, ["waived/VN-0002.1", "spring/VN-0002.1"], id="serial"),
        pytest.param({"outcome": "fail"}, ["spring/VN-0004.1", "spring/VN-0009.1"], id="outcome"),
        pytest.param({"serial": "VN-0003", "outcome": "doubtful"}, ["spring/VN-0003.2"], id="both-must-hold"),
        pytest.param({"batch": "hosts", "cable": "vent-lead"}, [], id="none"),
        pytest.param({"board": "cabinet"}, ["hosts/CB-001.1"], id="host"),
    ],
)
def test_all_that_is_asked_for_must_hold(values: dict[str, str], expected: list[str]):
    """Whichever batch it is in, by serial and time."""
    assert sorted(expected) == sorted(names(search(OLD_REPORTS, Wanted(values=values))))


@pytest.mark.parametrize(
    ("field", "value"),
    [
        pytest.param("meter serial", "SM-1", id="meter"),
        pytest.param("load serial", "SL-1", id="load"),
        pytest.param("supply serial", "SS-1", id="supply"),
        pytest.param("scanner serial", "SC-1", id="scanner"),
        pytest.param("station", "bench-1", id="station"),
        pytest.param("operator", "Old Hand", id="person"),
    ],
)
def test_an_instrument_or_person_finds_every_board_touched(field: str, value: str):
    """All attempts, refused and stopped ones and hosts too, each board counted once."""
    found = search(OLD_REPORTS, Wanted(values={field: value}))
    assert (len(found.attempts), found.boards, found.searched) == (10, 7, 10)
    assert found.outcomes[Outcome.REFUSED] == 2


@pytest.mark.parametrize(
    ("since", "until", "there"),
    [
        pytest.param(STARTED, ENDED, True, id="all-of-it"),
        pytest.param(ENDED, None, True, id="its-last-moment"),
        pytest.param(None, STARTED, True, id="its-first-moment"),
        pytest.param(STARTED + MINUTE, STARTED + MINUTE, True, id="inside-it"),
        pytest.param(ENDED + timedelta(microseconds=1), None, False, id="after"),
        pytest.param(None, STARTED - timedelta(microseconds=1), False, id="before"),
    ],
)
def test_an_attempt_counts_where_it_was_under_way(
    tmp_path: Path, since: datetime | None, until: datetime | None, there: bool
):
    """Both ends of the span are in it."""
    closed(tmp_path)
    assert len(search(tmp_path, Wanted(since=since, until=until)).attempts) == there


@pytest.mark.parametrize(
    ("values", "message"),
    [
        pytest.param({"meter serial": "sm1"}, r"no record has meter serial 'sm1'; did you mean 'SM-1'\?", id="near"),
        pytest.param({"operator": "old hand"}, r"did you mean 'Old Hand'\?", id="case"),
        pytest.param({"fixture": "zzz"}, "no record has fixture 'zzz'; known: cabinet-breakout, vent-nest", id="known"),
        pytest.param({"outcome": "passed"}, r"did you mean 'pass'\?", id="outcome"),
        pytest.param({"cable": "vent-led", "bench": "simulate"}, r"'vent-lead'\?\nno record has bench", id="two"),
    ],
)
def test_a_name_that_no_record_carries_is_no_empty_list(values: dict[str, str], message: str):
    """A slip of the finger must not read as "no board was touched"."""
    with pytest.raises(SetupError, match=message):
        search(OLD_REPORTS, Wanted(values=values))


def test_many_known_names_are_not_all_told(tmp_path: Path):
    """A message stays one."""
    for number in range(14):
        closed(tmp_path, f"VN-{number:04}")
    with pytest.raises(SetupError, match=r"no record has serial 'x'; 14 are known, such as VN-0000, .*VN-0011$"):
        search(tmp_path, Wanted(values={"serial": "x"}))


def test_an_outcome_that_did_not_come_up_is_no_slip(tmp_path: Path):
    """It is a word that there is; none had it."""
    closed(tmp_path)
    assert search(tmp_path, Wanted(values={"outcome": "refused"})).attempts == ()


def test_what_cannot_be_known_is_said(tmp_path: Path):
    """An attempt that is open, a description that is damaged, one that was altered."""
    closed(tmp_path)
    altered = tmp_path / closed(tmp_path, "VN-0002").record
    metadata = altered.with_name(f"{altered.name}-metadata.json")
    metadata.write_text(metadata.read_text().replace("the one at the bench", "somebody else"))
    damaged = tmp_path / closed(tmp_path, "VN-0003").record
    damaged.with_name(f"{damaged.name}-metadata.json").write_text("{")
    with Journal.claim(tmp_path, replace(CONTEXT, serial="VN-0004")):
        found = search(tmp_path, Wanted(values={"cable": "vent-lead"}))
    assert [(one.context.serial, one.intact) for one in found.attempts] == [("VN-0001", True), ("VN-0002", False)]
    assert found.open == ("spring-1/VN-0004.1",)
    assert list(found.damaged) == [str(damaged)]


def test_one_batch_alone_can_be_searched(tmp_path: Path):
    """Its own folder is enough; so is one of which only the descriptions were kept."""
    record = tmp_path / closed(tmp_path).record
    closed(tmp_path, batch="other")
    record.unlink()
    assert names(search(record.parent, Wanted())) == ["spring-1/VN-0001.1"]


def test_every_field_is_told_by_every_record():
    """A field that is empty everywhere would find nothing; a host's cable is."""
    for one in search(OLD_REPORTS, Wanted()).attempts:
        empty = [name for name, tell in FIELDS.items() if not tell(one.closing)]
        assert empty == (["cable"] if one.context.kind == "host" else [])
