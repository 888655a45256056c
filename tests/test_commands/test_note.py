"""`batchtest note`: what is shown, what is written, and what is refused."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from test_pages.examples import journalled
from test_records.contexts import CONTEXT, closed

from batchtest.commands import program
from batchtest.errors import SetupError
from batchtest.nouns import NoteKind, Outcome
from batchtest.records.journal import Journal
from batchtest.records.note import read_notes
from batchtest.records.record import read_record

REWORK = ("--kind", "rework", "--by", "A. Ito", "--text", "open joint", "--part", "R5B", "--changed", "replaced")


def note(reports: Path, *arguments: str, serial: str = "VN-0001") -> None:
    """Run the command; its errors are raised."""
    program.main(["note", serial, "--reports", str(reports), *arguments], standalone_mode=False)


def test_a_rework_is_written_and_told(tmp_path: Path, capsys):
    """It links to the last record by that record's own hash."""
    closed(tmp_path)
    last = read_record(tmp_path / closed(tmp_path).record)
    note(tmp_path, "--batch", "spring-1", *REWORK)
    (found,) = read_notes(tmp_path, "spring-1")
    assert (found.kind, found.by, found.part, found.changed) == (NoteKind.REWORK, "A. Ito", "R5B", "replaced")
    assert (found.about, found.about_sha256) == ("spring-1/VN-0001.2.csv", last.sha256)
    assert found.station == "bench-1"
    said = capsys.readouterr().out
    assert "VN-0001 note 1, rework (part R5B, changed: replaced) by A. Ito" in said
    assert f"written to {tmp_path / 'spring-1' / 'note.1.json'}, about spring-1/VN-0001.2.csv" in said


def test_it_shows_on_the_pages_of_the_board_and_of_its_batch(tmp_path: Path):
    """They are written anew; the record is not."""
    record = journalled(tmp_path, "VN-0001", Outcome.FAIL, "logic is low")
    before = record.read_bytes(), record.with_suffix(".csv-metadata.json").read_bytes()
    note(tmp_path, *REWORK)
    for page in (record.with_suffix(".html"), record.parent / "batch.html"):
        assert "open joint" in page.read_text()
    assert (record.read_bytes(), record.with_suffix(".csv-metadata.json").read_bytes()) == before


def test_an_earlier_attempt_is_corrected_by_its_number(tmp_path: Path, capsys):
    """--attempt says which; the batch needs no naming where there is one."""
    closed(tmp_path)
    closed(tmp_path)
    note(tmp_path, "--kind", "correction", "--by", "A. Ito", "--text", "it was bench 2", "--attempt", "1", "--json")
    found = json.loads(capsys.readouterr().out)
    assert (found["about"], found["kind"], found["number"]) == ("spring-1/VN-0001.1.csv", "correction", 1)
    assert found["file"] == str(tmp_path / "spring-1" / "note.1.json")


def test_a_concession_and_the_release_that_rests_on_it(tmp_path: Path, capsys):
    """Without the first the second is refused."""
    closed(tmp_path, outcome=Outcome.FAIL)
    release = ("--kind", "release", "--by", "A. Ito", "--text", "customer agrees")
    with pytest.raises(SetupError, match="attempt 1 of VN-0001 is fail, and no deviation or concession"):
        note(tmp_path, *release)
    granted = ("--number", "DEV-12", "--until", "2999-12-31", "--quantity", "3")
    note(tmp_path, "--kind", "concession", "--by", "A. Ito", "--and", "M. Roy", "--text", "harmless here", *granted)
    note(tmp_path, *release)
    said = capsys.readouterr().out
    assert "concession (DEV-12, until 2999-12-31, for 3 boards) by A. Ito and M. Roy" in said
    assert "note 2, RELEASED by A. Ito" in said


def test_without_a_kind_everything_is_shown(tmp_path: Path, capsys):
    """Attempts and notes in order; machines get the hashes too."""
    closed(tmp_path, outcome=Outcome.FAIL, cause="logic is low")
    note(tmp_path, *REWORK)
    closed(tmp_path)
    capsys.readouterr()
    note(tmp_path)
    lines = capsys.readouterr().out.splitlines()
    assert [line[:30] for line in lines] == [
        "VN-0001 in batch spring-1",
        "attempt 1: FAIL on 2026-03-02 ",
        "  note 1, rework (part R5B, ch",
        "attempt 2: pass on 2026-03-02 ",
    ]
    note(tmp_path, "--json")
    found = json.loads(capsys.readouterr().out)
    assert [each["outcome"] for each in found["attempts"]] == ["fail", "pass"]
    assert found["notes"][0]["about_sha256"] == found["attempts"][0]["sha256"]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("--batch", "spring-2", *REWORK), "was never seen in batch spring-2 of", id="batch"),
        pytest.param(("--batch", "../x"), "batch '../x' cannot be a file name", id="path"),
        pytest.param(("--kind", "rework", "--text", "x"), "--by is missing; a note names who", id="nobody"),
        pytest.param(("--by", "A", "--number", "D"), "--by, --number without --kind writes nothing", id="no-kind"),
        pytest.param((*REWORK, "--attempt", "7"), "VN-0001 has no closed attempt 7; closed: 1", id="attempt"),
        pytest.param((*REWORK, "--until", "soon"), "--until 'soon' is no day; write it such as", id="day"),
        pytest.param((*REWORK, "--quantity", "2"), "a rework has no quantity", id="limit"),
        pytest.param(
            ("--kind", "deviation", "--by", "A. Ito", "--text", "x", "--number", "D-1"), "in disguise", id="no-limit"
        ),
    ],
)
def test_what_is_wrong_is_told_and_nothing_is_written(tmp_path: Path, arguments, message):
    """Exit code 2: mend the argument."""
    closed(tmp_path)
    with pytest.raises(SetupError, match=re.escape(message)):
        note(tmp_path, *arguments)
    assert not list(tmp_path.rglob("note*"))


def test_a_serial_that_was_never_seen_has_no_notes(tmp_path: Path):
    """A typing slip does not begin a history; nor does a folder that is not there."""
    closed(tmp_path)
    with pytest.raises(SetupError, match=r"VN-0002 was never seen in .*: a note is about a board that was tested"):
        note(tmp_path, *REWORK, serial="VN-0002")
    with pytest.raises(SetupError, match="was never seen"):
        note(tmp_path / "none")


def test_a_board_of_two_batches_is_asked_for_its_batch(tmp_path: Path):
    """Nothing is guessed."""
    closed(tmp_path)
    closed(tmp_path, batch="summer")
    with pytest.raises(SetupError, match="was seen in batches spring-1, summer; say which with --batch"):
        note(tmp_path, *REWORK)


def test_a_board_whose_only_attempt_is_open_has_no_record_to_be_about(tmp_path: Path):
    """The cure is told."""
    Journal.claim(tmp_path, CONTEXT).abandon()
    with pytest.raises(SetupError, match="has no closed attempt that can be read; begin its batch again"):
        note(tmp_path, *REWORK)
