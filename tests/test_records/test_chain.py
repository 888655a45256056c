"""The chain of a station's records: unbroken, one process at a time, whole after a crash."""

from __future__ import annotations

import hashlib
import json
from contextlib import suppress
from pathlib import Path

import pytest
from filelock import FileLock

from batchtest.errors import RecordError
from batchtest.records import chain
from batchtest.records.chain import BEGINNING, Chain, canonical, head, link_hash, locked_chain, short
from batchtest.records.journal import Journal
from batchtest.records.record import Record, read_record
from test_records.contexts import CONTEXT, close, closed


def record(reports: Path, serial: str = "VN-0001", **context: str) -> Record:
    """A closed record, read back."""
    return read_record(reports / closed(reports, serial, **context).record)


def test_each_record_carries_the_hash_of_the_one_before(tmp_path):
    """Three records in two batches make one chain from the beginning."""
    first = record(tmp_path)
    second = record(tmp_path, batch="spring-2")
    third = record(tmp_path)
    found = [first.closing.previous_sha256, second.closing.previous_sha256, third.closing.previous_sha256]
    assert [BEGINNING, first.sha256, second.sha256] == found


def test_stations_have_chains_of_their_own(tmp_path):
    """Two stations on one folder do not wait for each other's links."""
    record(tmp_path, station="bench-1")
    assert record(tmp_path, station="bench-2").closing.previous_sha256 == BEGINNING


def test_a_records_hash_is_the_one_written_down(tmp_path):
    """SHA-256 over the previous hash, the CSV's and the context, each on a line: computed here by hand."""
    path = tmp_path / closed(tmp_path).record
    block = json.loads(path.with_name(f"{path.name}-metadata.json").read_text())["urn:batchtest:record"]
    sha256 = block.pop("sha256")
    text = json.dumps(block, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    csv_sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    assert sha256 == hashlib.sha256(f"{BEGINNING}\n{csv_sha256}\n{text}".encode()).hexdigest()


def test_the_order_of_keys_does_not_change_a_hash():
    """The same context has one spelling, and another context another hash."""
    assert canonical({"b": 1, "a": "ü"}) == canonical({"a": "ü", "b": 1}) == '{"a":"ü","b":1}'
    assert link_hash(BEGINNING, "x", "{}") != link_hash(BEGINNING, "x", '{"a":1}')


def test_a_death_before_the_rename_does_not_break_the_chain(tmp_path):
    """A record that was announced and never got its name is not followed."""
    first = record(tmp_path)
    with locked_chain(tmp_path, "bench-1") as held:
        held.announce("f" * 64, "spring-1/VN-0009.1.csv")
    assert record(tmp_path).closing.previous_sha256 == first.sha256


def test_a_death_after_the_rename_does_not_break_the_chain(tmp_path):
    """A record that got its name before the station died is followed, though nothing says that it is finished."""
    first = record(tmp_path)
    with locked_chain(tmp_path, "bench-1") as held:
        held.announce("f" * 64, "spring-1/VN-0001.1.csv")
    assert first.path.exists()
    assert record(tmp_path).closing.previous_sha256 == "f" * 64


def test_a_record_taken_away_leaves_a_gap(tmp_path):
    """Deleting the newest record does not lead the chain around it."""
    gone = record(tmp_path)
    gone.path.unlink()
    assert record(tmp_path).closing.previous_sha256 == gone.sha256


@pytest.mark.parametrize("text", ["", "{}", "[1]", '{"sha256": "a"}', "nonsense"])
def test_a_damaged_head_is_said_and_the_attempt_stays_open(tmp_path, text):
    """A chain is not begun anew behind anybody's back."""
    (tmp_path / ".chain-bench-1").write_text(text)
    journal = Journal.claim(tmp_path, CONTEXT)
    with pytest.raises(RecordError, match=r"\.chain-bench-1 is damaged; restore it from a copy, or move it away"):
        close(journal)
    assert journal.path.exists()


def test_another_process_is_waited_for_but_not_for_ever(tmp_path, monkeypatch):
    """A lock that is never let go becomes an error that names it."""
    monkeypatch.setattr(chain, "LOCK_S", 0.2)
    journal = Journal.claim(tmp_path, CONTEXT)
    with (
        FileLock(tmp_path / ".chain-bench-1.lock"),
        pytest.raises(RecordError, match=r"\.chain-bench-1\.lock is held by another process for over 0 s"),
    ):
        close(journal)
    assert journal.path.exists()


def test_the_lock_is_let_go_after_a_fault(tmp_path):
    """One closing that went wrong does not block the next."""
    with suppress(KeyError), locked_chain(tmp_path, "bench-1"):
        raise KeyError
    with locked_chain(tmp_path, "bench-1") as held:
        assert isinstance(held, Chain)


def test_the_head_is_the_newest_record(tmp_path):
    """None before the first; then its hash, of whatever batch; an announced one counts once it has its name."""
    assert head(tmp_path, "bench-1") is None
    first = record(tmp_path)
    newest = record(tmp_path, batch="spring-2")
    assert head(tmp_path, "bench-1") == newest.sha256
    with locked_chain(tmp_path, "bench-1") as held:
        held.announce("f" * 64, "spring-1/VN-0009.1.csv")
    assert head(tmp_path, "bench-1") == newest.sha256
    assert short(first.sha256).replace(" ", "") == first.sha256[:12]


def test_a_chain_that_was_announced_and_never_begun_has_no_head(tmp_path):
    """A station that died over its first record."""
    with locked_chain(tmp_path, "bench-1") as held:
        held.announce("f" * 64, "spring-1/VN-0001.1.csv")
    assert head(tmp_path, "bench-1") is None
