"""Notes on the disk: what each kind must say, and that nothing is overwritten or taken out unseen."""

from __future__ import annotations

import json
import re
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import RecordError, SetupError
from batchtest.nouns import NoteKind
from batchtest.records.note import MOST_LETTERS, note_faults, note_table, read_notes, write_note
from batchtest.records.record import read_record
from test_records.contexts import closed
from test_records.notes import a_note, a_permit


def test_a_note_is_read_back_as_it_was_written(tmp_path: Path):
    """Every field, dates and limits too; its number and hash are given to it."""
    rework = a_note(part="R5B", changed="replaced", lot="L-77", second="M. Osei")
    written = [write_note(tmp_path, note) for note in (rework, a_permit())]
    assert list(read_notes(tmp_path, "spring-1")) == written
    assert [note.number for note in written] == [1, 2]
    assert replace(written[0], number=0, sha256="") == rework


def test_a_note_is_a_link_of_the_chain(tmp_path: Path):
    """It follows on the record before it, the record after it on it, and the numbers of the links have no gap."""
    before = read_record(tmp_path / closed(tmp_path).record)
    note = write_note(tmp_path, a_note(about_sha256=before.sha256))
    after = read_record(tmp_path / closed(tmp_path).record)
    held = json.loads((tmp_path / "spring-1" / "note.1.json").read_text())
    assert (held["previous_sha256"], after.closing.previous_sha256) == (before.sha256, note.sha256)
    assert [before.closing.sequence, held["sequence"], after.closing.sequence] == [1, 2, 3]


def test_the_record_that_it_is_about_stays_as_it_was(tmp_path: Path):
    """A correction changes no byte of what it corrects."""
    path = tmp_path / closed(tmp_path).record
    before = {file.name: file.read_bytes() for file in path.parent.iterdir()}
    write_note(tmp_path, a_note(kind=NoteKind.CORRECTION, text="the operator was M. Osei"))
    assert {file.name: file.read_bytes() for file in path.parent.iterdir() if file.name in before} == before


def test_the_notes_of_one_board_are_told_from_those_of_another(tmp_path: Path):
    """By serial, in the order in which they were written."""
    for serial in ("VN-0001", "VN-0002", "VN-0001"):
        write_note(tmp_path, a_note(serial=serial))
    assert [note.number for note in read_notes(tmp_path, "spring-1", "VN-0001")] == [1, 3]


@pytest.mark.parametrize(
    ("note", "message"),
    [
        pytest.param(a_note(by=" "), "'' is no name of a person", id="nobody"),
        pytest.param(a_note(second="k. ahn"), "are one person; name another one", id="one-person-twice"),
        pytest.param(a_note(text="=1+1 was done"), "has '=' where a spreadsheet begins a formula", id="formula"),
        pytest.param(a_note(text=""), "the text '' will not do; say what was done and why", id="no-text"),
        pytest.param(a_note(text="x" * (MOST_LETTERS + 1)), "in 400 letters at most", id="long-text"),
        pytest.param(a_note(part="R\x1b[2J"), "will not do; write 60 letters at most", id="part-that-a-screen-obeys"),
        pytest.param(a_permit(until=None, quantity=None), "is a change in disguise", id="no-limit"),
        pytest.param(a_permit(reference=""), "a concession needs its number", id="no-number"),
        pytest.param(a_permit(until=date(2026, 3, 2)), "DEV-12 ended on 2026-03-02; have it granted anew", id="past"),
        pytest.param(a_permit(quantity=0), "for 0 boards permits none", id="for-none"),
        pytest.param(a_permit(part="R5B"), "a concession has no part; that is for a rework", id="part-of-no-rework"),
        pytest.param(a_note(quantity=3), "a rework has no quantity; that is for a deviation", id="rework-with-limit"),
    ],
)
def test_what_is_no_note_is_refused_with_its_cure(tmp_path: Path, note, message):
    """Nothing is written."""
    with pytest.raises(SetupError, match=re.escape(message)):
        write_note(tmp_path, note)
    assert not list(tmp_path.rglob("note*"))


def test_a_permit_holds_on_its_last_day(tmp_path: Path):
    """The day named is included; either limit alone is enough."""
    assert write_note(tmp_path, a_permit(until=date(2026, 3, 3), quantity=None)).number == 1
    assert write_note(tmp_path, a_permit(until=None)).number == 2


def test_a_note_that_was_altered_is_an_error_with_file_and_cure(tmp_path: Path):
    """One word of the text."""
    write_note(tmp_path, a_note())
    file = tmp_path / "spring-1" / "note.1.json"
    file.write_text(file.read_text().replace("R5B", "R5C"))
    with pytest.raises(RecordError, match=r"note\.1\.json is not what was written there, it was altered or moved; re"):
        read_notes(tmp_path, "spring-1")


def test_a_note_taken_out_from_between_others_is_missed(tmp_path: Path):
    """As with waivers."""
    for _ in range(3):
        write_note(tmp_path, a_note())
    (tmp_path / "spring-1" / "note.2.json").unlink()
    with pytest.raises(RecordError, match=r"note\.2\.json was taken out, one of a later number is there"):
        read_notes(tmp_path, "spring-1")


@given(st.text(max_size=80), st.text(max_size=80), st.text(max_size=MOST_LETTERS))
def test_whatever_was_typed_is_a_fault_or_can_be_written_as_json(by, part, text):
    """No text that is taken breaks a line, a file or its encoding."""
    note = a_note(by=by, part=part, text=text)
    if not list(note_faults(note)):
        assert json.loads(json.dumps(note_table(note), ensure_ascii=False).encode())["text"] == text
        assert len((by + part + text).splitlines()) == 1
