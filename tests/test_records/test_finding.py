"""Findings on the disk: records of their own, in the chain, about a record that they leave as it is."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from batchtest.errors import RecordError
from batchtest.records.finding import finding_file, finding_table, latest, read_findings, write_finding
from batchtest.records.record import read_record
from batchtest.records.verify import verify
from test_records.contexts import closed
from test_records.findings import FINDING, a_finding


def test_a_finding_is_read_back_as_it_was_written(tmp_path: Path):
    """Causes, probed values and all; only its number and hash are given to it."""
    written = [write_finding(tmp_path, finding) for finding in (a_finding(), a_finding(causes=(), unknown=1.0))]
    assert list(read_findings(tmp_path, "spring-1")) == written
    assert [finding_file(each) for each in written] == ["finding.1.json", "finding.2.json"]
    assert replace(written[0], number=0, sha256="") == FINDING
    assert finding_table(written[0])["causes"][0]["parts"] == ["R5B"]


def test_a_finding_is_a_link_of_the_chain_and_changes_nothing(tmp_path: Path):
    """It follows on the record that it is about, whose files stay as they were to the byte."""
    record = tmp_path / closed(tmp_path).record
    before = {path: path.read_bytes() for path in record.parent.iterdir()}
    sha256 = read_record(record).sha256
    finding = write_finding(tmp_path, a_finding(about_sha256=sha256))
    held = json.loads((record.parent / "finding.1.json").read_text())
    assert (held["previous_sha256"], held["sequence"], held["about_sha256"]) == (sha256, 2, sha256)
    assert read_record(tmp_path / closed(tmp_path).record).closing.previous_sha256 == finding.sha256
    assert {path: path.read_bytes() for path in before} == before
    assert verify(tmp_path).damage == ()


def test_findings_about_one_record_are_told_from_others(tmp_path: Path):
    """The last about a record is what is shown of it."""
    other = "spring-1/VN-0002.1.csv"
    for about in (FINDING.about, other, FINDING.about):
        write_finding(tmp_path, a_finding(about=about))
    assert [found.number for found in read_findings(tmp_path, "spring-1", FINDING.about)] == [1, 3]
    every = read_findings(tmp_path, "spring-1")
    assert [found and found.number for found in (latest(every, FINDING.about), latest(every, other))] == [3, 2]
    assert latest(every, "spring-1/VN-0003.1.csv") is None


@pytest.mark.parametrize(
    ("old", "new", "named"),
    [
        pytest.param("R5B is open", "R5A is open", r"finding\.1\.json is not what was written there", id="words"),
        pytest.param(
            '"unknown": 0.0625', '"unknown": "not at all"', r"finding\.1\.json is damaged: unknown", id="type"
        ),
    ],
)
def test_a_finding_that_was_altered_is_found(tmp_path: Path, old: str, new: str, named: str):
    """By whoever reads it, and by `verify`, which names the file."""
    write_finding(tmp_path, a_finding())
    file = tmp_path / "spring-1" / "finding.1.json"
    assert old in file.read_text()
    file.write_text(file.read_text().replace(old, new))
    with pytest.raises(RecordError, match=named):
        read_findings(tmp_path, "spring-1")
    assert [fault.record for fault in verify(tmp_path).damage] == ["spring-1/finding.1.json"]
