"""`batchtest verify`: what it says, its exit codes, and pages that do not say what their records say."""

from __future__ import annotations

import hashlib
import json
import shutil
from pathlib import Path

import pytest
from test_records.contexts import closed

from batchtest.commands import main
from batchtest.pages import write_attempt_page
from batchtest.records.chain import head, short

PAGE = "spring-1/VN-0001.1.html"


@pytest.fixture
def reports(tmp_path: Path) -> Path:
    """Two records with their pages."""
    for serial in ("VN-0001", "VN-0002"):
        write_attempt_page(tmp_path / closed(tmp_path, serial).record)
    return tmp_path


def verified(*arguments: object) -> int:
    """Run the command; its exit code."""
    with pytest.raises(SystemExit) as ended:
        main(["verify", *map(str, arguments)])
    return int(ended.value.code or 0)


def test_a_whole_folder_ends_with_nought_and_says_what_that_does_not_prove(reports, capsys):
    """The head in short and full, how many records and pages, and the four things that no chain tells."""
    sha256 = head(reports, "bench-1")
    assert sha256 is not None
    assert verified(reports, "--head", short(sha256)) == 0
    said = capsys.readouterr().out
    assert f"chain of bench-1: 2 records, head {short(sha256)} ({sha256})" in said
    assert f"{reports}: whole: 2 records, 2 pages\nThis does not prove:\n- that the readings are true" in said
    assert "who can write the folder can compute all hashes anew" in said


def test_damage_ends_with_one_and_is_named(reports, capsys):
    """A record changed and another taken out, each on a line of its own."""
    path = reports / "spring-1" / "VN-0001.1.csv"
    path.write_bytes(path.read_bytes().replace(b"4.98,V", b"4.99,V", 1))
    for gone in reports.glob("spring-1/VN-0002.1.csv*"):
        gone.unlink()
    assert verified(reports) == 1
    said = capsys.readouterr().out
    assert "DAMAGED: spring-1/VN-0001.1.csv: line 2, column value: is not what was closed" in said
    assert "DAMAGED: spring-1/VN-0002.1.csv: was taken out: .chain-bench-1 names it as the newest" in said
    assert "DAMAGED: spring-1/VN-0002.1.html: is the page of a record that is not there" in said
    assert f"{reports}: DAMAGED, 3 found: 1 records, 2 pages" in said


def forge(page: Path) -> None:
    """Have a page say another number, and compute its seal anew."""
    text = page.read_text()
    seal = text.partition('batchtest:sha256" content="')[2][:64]
    text = text.replace("4.98", "4.99").replace(seal, "0" * 64, 1)
    page.write_text(text.replace("0" * 64, hashlib.sha256(text.encode()).hexdigest(), 1))


def test_a_page_forged_with_its_seal_is_found_by_rendering_it_again(reports, capsys):
    """The seal alone, all that --quick looks at, is no proof against who can compute it."""
    forge(reports / PAGE)
    assert verified(reports, "--quick") == 0
    assert "2 records, 2 pages by their seals alone" in capsys.readouterr().out
    assert verified(reports) == 1
    assert f"DAMAGED: {PAGE}: line " in capsys.readouterr().out


def test_a_page_of_other_software_is_held_to_its_seal_alone(reports, capsys):
    """Another version may lay a page out otherwise; that is no damage."""
    page = reports / PAGE
    text = page.read_text()
    seal = text.partition('batchtest:sha256" content="')[2][:64]
    text = text.replace('content="batchtest 0', 'content="batchtest 9', 1).replace(seal, "0" * 64, 1)
    page.write_text(text.replace("0" * 64, hashlib.sha256(text.encode()).hexdigest(), 1))
    assert verified(reports) == 0
    assert "whole: 2 records" in capsys.readouterr().out


def test_a_damaged_record_is_blamed_once(reports, capsys):
    """A page is not compared with a record that cannot be read."""
    (reports / "spring-1" / "VN-0001.1.csv").write_bytes(b"")
    assert verified(reports, "--json") == 1
    found = json.loads(capsys.readouterr().out)
    assert [each["record"] for each in found["damage"]] == ["spring-1/VN-0001.1.csv"]


def test_json_tells_the_same_to_machines(reports, capsys):
    """One object: whole or not, chains with their heads, damage by record and field, what is not proven."""
    assert verified(reports, "--json", "--head", "0123456789ab") == 1
    found = json.loads(capsys.readouterr().out)
    assert (found["whole"], found["records"], found["pages"]) == (False, 2, 2)
    assert found["chains"] == [{"station": "bench-1", "records": 2, "head": head(reports, "bench-1")}]
    assert [(each["record"], each["field"]) for each in found["damage"]] == [("printed head 0123 4567 89ab", "")]
    assert len(found["not_proven"]) == 4


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("spring-1",), "is one batch, chains run across all of them", id="batch"),
        pytest.param((".", "--head", "xyz"), "--head 'xyz' is no hash", id="head"),
        pytest.param(("nowhere",), "does not exist", id="no-folder"),
    ],
)
def test_an_argument_that_needs_mending_ends_with_two(reports, capsys, monkeypatch, arguments, message):
    """Nothing was verified, and that is not said to be whole."""
    monkeypatch.chdir(reports)
    assert verified(*arguments) == 2
    assert message in capsys.readouterr().err


def test_notes_are_no_damage(reports, capsys):
    """Worth knowing: a page without a seal, beside no record of a kind that seals."""
    shutil.copy(reports / PAGE, reports / "spring-1" / "extra.html")
    text = (reports / "spring-1" / "extra.html").read_text()
    (reports / "spring-1" / "extra.html").write_text(text.replace("batchtest:sha256", "other"))
    assert verified(reports) == 0
    assert "note: spring-1/extra.html carries no seal" in capsys.readouterr().out
