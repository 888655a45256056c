"""`batchtest find`: the table, the page, the machine's copy, and what it says where it cannot know."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from test_pages.html import Page
from test_records.contexts import closed
from test_records.old_facts import OLD

from batchtest.commands import find_boards, program
from batchtest.errors import RecordError, SetupError

SM_1 = ("--meter-serial", "SM-1")


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A folder with the kept records."""
    shutil.copytree(OLD / "1" / "reports", tmp_path / "reports")
    return tmp_path


def run(folder: Path, *arguments: str, width: int = 100) -> Result:
    """Run the command in a folder."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("COLUMNS", str(width))
        return CliRunner().invoke(program, ["find", *arguments])


def test_the_table_names_every_attempt_and_counts_boards(folder: Path):
    """Outcome as shape and word, what was fitted, and the sum."""
    done = run(folder, *SM_1, width=140)
    assert done.exit_code == 0
    assert "VN-0003.2" in done.stdout
    assert "◐ doubtful " in done.stdout
    assert "✔ pass waived" in done.stdout
    assert "vent-nest, vent-lead, meter SM-1, load SL-1" in done.stdout
    assert "7 boards, 10 attempts (4 pass, 2 fail, 1 doubtful, 1 stopped, 2 refused) in 5 batches" in done.stdout


def test_the_machine_gets_one_object(folder: Path):
    """Each attempt with the path of its record and all that can be asked for."""
    done = run(folder, "--serial", "VN-0003", "--outcome", "doubtful", "--json")
    found = json.loads(done.stdout)
    (one,) = found["attempts"]
    assert (found["boards"], found["searched"], found["open"], found["damaged"]) == (1, 10, [], {})
    assert (one["serial"], one["attempt"], one["meter_serial"], one["cable"]) == ("VN-0003", 2, "SM-1", "vent-lead")
    assert (folder / one["record"]).is_file()
    assert one["first_cause"].startswith("core @ load point 3: ")


def test_the_page_is_a_list_to_print(folder: Path):
    """What was asked for at its head, every attempt, the counts."""
    done = run(folder, *SM_1, "--between", "2026-11-01", "2026-12-24T12:00Z", "--page", "out/recall.html")
    assert done.stdout.endswith("page: out/recall.html\n")
    page = Page((folder / "out" / "recall.html").read_text())
    text = " ".join("".join(page.texts).split())
    assert page.faults == []
    assert "meter serial SM-1 · from 2026-11-01 00:00" in text
    assert "7 boards, 10 attempts" in text
    assert text.count("VN-0003") == 2


def test_a_span_without_attempts_is_an_empty_list(folder: Path):
    """Nothing was touched then: that is an answer."""
    done = run(folder, *SM_1, "--between", "2020-01-01", "2020-12-31")
    assert (done.exit_code, done.stdout) == (0, "0 boards, 0 attempts in 0 batches; 10 records searched\n")


def test_a_long_list_says_how_to_get_all_of_it(folder: Path, monkeypatch: pytest.MonkeyPatch):
    """A terminal is given some rows; the count is of all."""
    monkeypatch.setattr(find_boards, "MOST_ROWS", 4)
    said = run(folder, *SM_1).stdout
    assert "and 6 more attempts; --page PATH or --json has them all" in said
    assert "7 boards, 10 attempts" in said


def test_damage_is_loud_and_makes_the_exit_code_one(tmp_path: Path):
    """What cannot be read may be of a board that was touched."""
    closed(tmp_path / "reports")
    record = tmp_path / "reports" / closed(tmp_path / "reports", "VN-0002").record
    record.with_name(f"{record.name}-metadata.json").write_text("no json")
    done = run(tmp_path, "--cable", "vent-lead")
    assert done.exit_code == 1
    assert "not known, since damaged: reports/spring-1/VN-0002.1.csv: " in done.stdout
    assert "1 board, 1 attempt (1 pass) in 1 batch; 1 record searched" in done.stdout


@pytest.mark.parametrize(
    ("arguments", "kind", "message"),
    [
        pytest.param((), SetupError, "nothing to find was named; name one at least", id="nothing"),
        pytest.param(("--fixture", "vent-nst"), SetupError, "did you mean 'vent-nest'?", id="slip"),
        pytest.param((*SM_1, "--between", "now", "later"), SetupError, "'now' is no time", id="no-time"),
        pytest.param((*SM_1, "--reports", "nowhere"), SetupError, "there is no folder nowhere", id="no-folder"),
        pytest.param((*SM_1, "--page", "reports/spring/VN-0002.1.csv/x"), RecordError, "cannot be written", id="page"),
    ],
)
def test_what_needs_mending_is_said(folder: Path, arguments: tuple[str, ...], kind: type[Exception], message: str):
    """With its value and the cure."""
    done = run(folder, *arguments)
    assert isinstance(done.exception, kind)
    assert message in str(done.exception)
