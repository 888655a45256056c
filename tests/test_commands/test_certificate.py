"""`batchtest certificate`: which attempt, what is refused, what the person is told."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from stations import ROOT
from test_pages.certificates import texts
from test_records.contexts import CONTEXT, a_line, closed
from test_records.notes import a_note

from batchtest.commands import program
from batchtest.nouns import Outcome
from batchtest.records.journal import Journal
from batchtest.records.note import write_note


@pytest.fixture
def reports(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A board that failed, and passed at its second attempt; another one that is still being tested."""
    monkeypatch.chdir(ROOT)
    closed(tmp_path, outcome=Outcome.FAIL, cause="logic @ load point 2: 4.7 V is 50 mV below the lower bound 4.75 V")
    closed(tmp_path)
    with Journal.claim(tmp_path, replace(CONTEXT, serial="VN-0002")) as journal:
        journal.write(a_line(1))
    return tmp_path


def print_it(reports: Path, *arguments: str) -> tuple[int, str]:
    """Run the command; exit code, and what it said or the error that it raised."""
    found = CliRunner().invoke(program, ["certificate", *arguments, "--reports", str(reports)])
    error = found.exception
    return found.exit_code, found.output if error is None or isinstance(error, SystemExit) else str(error)


def pdf(reports: Path, name: str) -> str:
    """What a PDF of the batch says."""
    return " ".join(texts((reports / "spring-1" / name).read_bytes()))


def test_the_last_closed_attempt_is_printed(reports):
    """Without an attempt named it is the newest; the sheet lies beside its record, and a simulated bench is said."""
    code, said = print_it(reports, "VN-0001")
    assert code == 0
    assert said.startswith("SIMULATED BENCH: no real board was measured\nVN-0001 attempt 2: pass: print 1 written to ")
    assert "Test results: VN-0001, attempt 2, print 1" in pdf(reports, "VN-0001.2.certificate-1.pdf")


def test_a_reprint_has_the_next_number(reports):
    """Two sheets of one attempt can be told from each other, and both are on record."""
    print_it(reports, "VN-0001")
    code, said = print_it(reports, "VN-0001", "--json", "--operator", "K. Ahn", "--workshop", "Glasshouse Controls")
    told = json.loads(said)
    assert (code, told["number"], told["by"], told["simulated"]) == (0, 2, "K. Ahn", True)
    text = pdf(reports, "VN-0001.2.certificate-2.pdf")
    assert "Glasshouse Controls Test results: VN-0001, attempt 2, print 2" in text
    assert f"head of the chain {told['head_sha256']}" in text
    first = json.loads((reports / "spring-1" / "VN-0001.2.certificate-1.json").read_text())
    assert told["head_sha256"] == first["sha256"]


def test_an_attempt_that_failed_has_its_sheet(reports):
    """Test results are printed whatever they are."""
    assert print_it(reports, "VN-0001", "--attempt", "1")[0] == 0
    assert "FAIL At least one reading" in pdf(reports, "VN-0001.1.certificate-1.pdf")


def test_the_sheet_is_headed_by_the_station_where_nothing_else_is_said(reports):
    """The bench file may name a workshop; a record whose bench is gone can still be printed."""
    closed(reports, "VN-0007", bench="long-gone")
    assert print_it(reports, "VN-0007")[0] == 0
    assert "bench-1 Test results: VN-0007" in pdf(reports, "VN-0007.1.certificate-1.pdf")


def test_the_bench_file_s_workshop_heads_the_sheet(reports, tmp_path_factory, monkeypatch):
    """Said once in a file, it stands on every certificate."""
    folder = tmp_path_factory.mktemp("project")
    text = (ROOT / "fixtures" / "benches" / "simulated.toml").read_text()
    for name in ("vent-nest", "mist-nest"):
        (folder / "fixtures").mkdir(exist_ok=True)
        (folder / "fixtures" / f"{name}.toml").write_text((ROOT / "fixtures" / f"{name}.toml").read_text())
    (folder / "fixtures" / "benches").mkdir()
    named = text.replace('station = "bench-1"', 'station = "bench-1"\nworkshop = "Glasshouse Controls"')
    (folder / "fixtures" / "benches" / "simulated.toml").write_text(named)
    monkeypatch.chdir(folder)
    assert print_it(reports, "VN-0001")[0] == 0
    assert "Glasshouse Controls Test results" in pdf(reports, "VN-0001.2.certificate-1.pdf")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        pytest.param(["VN-0011"], "no attempt of 'VN-0011' in .*; did you mean 'VN-0001'?", id="serial"),
        pytest.param(["VN-0001", "--batch", "autumn"], "no attempt of 'VN-0001' in batch 'autumn' of", id="batch"),
        pytest.param(["VN-0001", "--attempt", "3"], "attempt 3 of 'VN-0001' .* is not there; closed: 1, 2", id="none"),
        pytest.param(["VN-0002"], "no attempt of 'VN-0002' .* was closed; a certificate is of a closed", id="open"),
        pytest.param(["VN-0002", "--attempt", "1"], "attempt 1 of 'VN-0002' .* was never closed; a cert", id="part"),
        pytest.param(["../x"], "serial '../x' cannot be a file name", id="path"),
        pytest.param(["VN-0001", "--operator", "=1+1"], "--operator has '=' where a spreadsheet", id="operator"),
        pytest.param(["VN-0001", "--workshop", "@x"], "--workshop has '@' where a spreadsheet", id="workshop"),
        pytest.param(["VN-0001", "--out", str(ROOT / "README.md")], "is there already; nothing is over", id="out"),
        pytest.param(["VN-0001", "--out", "no/such/x.pdf"], "has no folder to go to; make no/such first", id="folder"),
    ],
)
def test_what_cannot_be_printed_is_said(reports, arguments, said):
    """A person mends the argument; nothing was printed."""
    code, output = print_it(reports, *arguments)
    assert code == 1  # the error as it is raised here; the program gives it exit code 2
    assert_matches(said, output)
    assert not list(reports.glob("*/*certificate*"))


def assert_matches(pattern: str, text: str) -> None:
    """Every part of a pattern stands in a text, in order."""
    at = 0
    for part in pattern.split(".*"):
        assert part.strip("?") in text[at:], text
        at = text.index(part.strip("?"), at)


def test_a_serial_in_two_batches_needs_one_named(reports):
    """Which board it is cannot be guessed."""
    closed(reports, batch="autumn-2")
    code, said = print_it(reports, "VN-0001")
    assert (code, said) == (1, "'VN-0001' stands in batches autumn-2, spring-1; say which with --batch")
    assert print_it(reports, "VN-0001", "--batch", "autumn-2")[0] == 0


def test_what_was_noted_of_the_board_stands_on_its_sheet(reports):
    """Rework and release are told to who reads the certificate, not only to who has the folder."""
    write_note(reports, a_note(serial="VN-0001", about="spring-1/VN-0001.2.csv"))
    assert print_it(reports, "VN-0001")[0] == 0
    assert "Notes on this board note 1, rework" in pdf(reports, "VN-0001.2.certificate-1.pdf")


def test_challenges_of_the_bench_are_no_batch(reports):
    """The board that was in the nest when a wrong cable was refused has its results in its own batch."""
    closed(reports, batch="challenges", outcome=Outcome.REFUSED, cause="the cable reads like mist-lead")
    assert print_it(reports, "VN-0001")[0] == 0
    assert (reports / "spring-1" / "VN-0001.2.certificate-1.pdf").exists()


@pytest.mark.parametrize(
    ("file", "before", "after"),
    [
        pytest.param("VN-0001.2.csv", "4.98", "4.99", id="value"),
        pytest.param("VN-0001.2.csv-metadata.json", "the one at the bench", "another", id="operator"),
        pytest.param("VN-0001.2.csv-metadata.json", '"batch": "spring-1"', '"batch": "spring-2"', id="batch"),
        pytest.param("VN-0001.2.csv", "\r\n2,", "\r\ntwo,", id="damaged"),
        pytest.param("VN-0001.2.csv-metadata.json", "urn:batchtest:record", "x", id="no-description"),
    ],
)
def test_an_altered_record_is_not_printed(reports, file, before, after):
    """Exit code 1, the file and the cure; there is no sheet of what was not measured."""
    path = reports / "spring-1" / file
    text = path.read_bytes().decode()
    assert before in text
    path.write_bytes(text.replace(before, after).encode())
    code, said = print_it(reports, "VN-0001")
    assert code == 1
    assert "VN-0001.2.csv" in said
    assert "restore both files from a copy" in said or "the record is damaged" in said
    assert not list(reports.glob("*/*certificate*"))


def test_a_record_moved_into_another_batch_is_not_printed(reports):
    """A board of one batch cannot be passed off as one of another."""
    (reports / "spring-1").rename(reports / "summer-1")
    code, said = print_it(reports, "VN-0001")
    assert code == 1
    assert "its name or its batch was altered" in said
