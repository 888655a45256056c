"""What `batchtest boards` does with its records before it tests, and when the disk takes no more."""

from __future__ import annotations

import io
import os
import re
import resource
import subprocess
import sys
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path

import pytest
from test_records.contexts import CONTEXT, a_line, close, closed

from batchtest.commands.screen import PlainScreen
from batchtest.commands.startup import tidy_records
from batchtest.errors import RecordError
from batchtest.nouns import Outcome
from batchtest.records.journal import Journal
from batchtest.records.record import read_record
from test_commands.test_boards import BOARDS, wired

#: A record of this many bytes holds some readings of the gate and no whole attempt.
FULL = 6000


def tidied(reports: Path) -> str:
    """What a person is told at the start."""
    told = io.StringIO()
    tidy_records(reports, "bench-1", PlainScreen(told))
    return told.getvalue()


def test_what_was_left_unfinished_is_closed_said_and_shown_on_its_pages(tmp_path):
    """The attempt gets its page, the batch its summary; the next start has nothing more to say."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(a_line(1))
    said = "spring-1/VN-0001.1 was found unfinished: closed as STOPPED, 1 readings kept; test it again\n"
    assert tidied(tmp_path) == said
    folder = tmp_path / "spring-1"
    assert "the station died in mid-attempt" in (folder / "VN-0001.1.html").read_text()
    assert "STOPPED" in (folder / "VN-0001.1.html").read_text()
    assert "VN-0001.1.html" in (folder / "batch.html").read_text()
    assert '"stopped": 1' in (folder / "batch.json").read_text()
    assert tidied(tmp_path) == ""


def test_what_cannot_be_closed_is_said_every_time(tmp_path):
    """It stays open, with the reason, and stops nobody from testing."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(a_line(1))
    (tmp_path / "spring-1" / "VN-0001.1.csv-metadata.json.part").write_text("{}")
    for _ in range(2):
        assert tidied(tmp_path).startswith("spring-1/VN-0001.1 was found unfinished, and stays open: it cannot be")


def test_a_clock_behind_the_last_record_is_said(tmp_path):
    """An hour back since the last record: set it right; nothing goes by it meanwhile."""
    ahead = datetime.now().astimezone() + timedelta(hours=1)
    with Journal.claim(tmp_path, replace(CONTEXT, started=ahead)) as journal:
        journal.close(Outcome.PASS, None, ended=ahead, duration_s=1.0)
    said = tidied(tmp_path)
    assert re.match(r"this computer's clock is 0:59:5\d.* behind the last record of bench-1: it was set back", said)
    with Journal.claim(tmp_path, CONTEXT) as journal:
        close(journal)
    assert tidied(tmp_path) == ""


def test_a_damaged_head_stops_the_station_before_it_tests(tmp_path):
    """Nothing could be recorded: better said before a board is in the nest."""
    closed(tmp_path)
    (tmp_path / ".chain-bench-1").write_text("{")
    with pytest.raises(RecordError, match=r"\.chain-bench-1 is damaged; restore it from a copy"):
        tidied(tmp_path)


def run(folder: Path, *, full: bool) -> subprocess.CompletedProcess[str]:
    """Test one board, where no file can grow beyond some bytes, or on a whole disk."""
    return subprocess.run(
        [sys.executable, "-m", "batchtest", *BOARDS, "--bench", "wired", "--serials", "VN-0001"],
        cwd=folder,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
        env={**os.environ, **({"PYTHONDONTWRITEBYTECODE": "1"} if full else {})},  # they would be cut short too
        preexec_fn=(lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (FULL, FULL))) if full else None,
    )


def test_a_full_disk_prints_no_verdict_and_the_next_start_goes_on(tmp_path):
    """Exit code 3, "not recorded", the bench off; once there is room the board is stopped and then tested anew."""
    with wired(tmp_path) as running:
        done = run(tmp_path, full=True)
        assert (running.instruments.supply.output_on, running.instruments.load.inputs_on) == (False, ())
        assert done.returncode == 3
        lost = "VN-0001 attempt 1 is not recorded; the board must not leave the bench: File too large\n"
        assert done.stderr == lost
        assert "VN-0001" not in done.stdout
        again = run(tmp_path, full=False)
    assert "try/VN-0001.1 was found unfinished: closed as STOPPED, " in again.stdout
    assert "1/1 VN-0001 attempt 2: pass" in again.stdout
    assert (again.returncode, again.stderr) == (0, "")
    assert read_record(tmp_path / "reports" / "try" / "VN-0001.1.csv").closing.outcome == "stopped"
