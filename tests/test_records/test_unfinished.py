"""What a station left unfinished: closed as stopped with all that it holds, and never from under one that lives."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from batchtest.nouns import Outcome, Phase
from batchtest.records.chain import head
from batchtest.records.journal import Journal
from batchtest.records.names import BEGUN
from batchtest.records.record import read_record
from batchtest.records.rows import header, row_of
from batchtest.records.unfinished import CAUSE, Found, close_unfinished
from batchtest.records.verify import verify
from test_records.contexts import CONTEXT, a_line, close, closed

TESTS = Path(__file__).parents[1]


def left(reports: Path, *lines: int, serial: str = "VN-0001", **context: str) -> Path:
    """An attempt that was begun, got some lines, and was left; its part file."""
    with Journal.claim(reports, replace(CONTEXT, serial=serial, **context)) as journal:  # type: ignore[arg-type]
        for number in lines:
            journal.write(a_line(number))
    return journal.path


def found(reports: Path, station: str = "bench-1") -> list[Found]:
    """What is found unfinished."""
    return list(close_unfinished(reports, station))


def test_it_is_closed_as_stopped_with_every_line(tmp_path):
    """The record says that the station died; its last sign of life is when it ended; it is in the chain."""
    before = closed(tmp_path)
    line = a_line(2)
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(replace(a_line(1), measurement=replace(a_line().measurement, name="id", phase=Phase.GATE)))
        journal.write(line)
    assert [each.name for each in found(tmp_path)] == ["spring-1/VN-0001.2"]
    record = read_record(tmp_path / "spring-1" / "VN-0001.2.csv")
    assert record.unaltered
    assert (record.closing.outcome, record.closing.first_cause) == (Outcome.STOPPED, f"{CAUSE}: 2 readings are kept")
    assert (record.closing.ended, record.closing.duration_s) == (line.time, line.elapsed_s)
    assert (record.context, record.closing.proof) == (replace(CONTEXT, attempt=2), ("id",))
    assert record.closing.previous_sha256 == read_record(tmp_path / before.record).sha256
    assert record.sha256 == head(tmp_path, "bench-1")
    assert verify(tmp_path).damage == ()


def test_one_without_a_line_is_closed_too(tmp_path):
    """A station that died before its first reading leaves a record that says so."""
    left(tmp_path)
    assert [each.attempt.duration_s for each in found(tmp_path) if each.attempt] == [0.0]
    assert read_record(tmp_path / "spring-1" / "VN-0001.1.csv").lines == ()


@pytest.mark.parametrize("cut", [1, 40, -1], ids=["first-byte", "in-the-middle", "before-the-line-end"])
def test_a_line_that_was_cut_off_is_no_reading_and_is_kept(tmp_path, cut):
    """The record holds whole lines only; the bytes of the torn one stand in its description, none lost."""
    part, torn = left(tmp_path, 1), row_of(a_line(2, raw='"é'))[:cut]
    with part.open("ab") as file:
        file.write(torn)
    assert [each.attempt.lines for each in found(tmp_path) if each.attempt] == [(a_line(1),)]
    record = read_record(tmp_path / "spring-1" / "VN-0001.1.csv")
    assert record.path.read_bytes() == header() + row_of(a_line(1))
    assert record.closing.torn.encode("latin-1") == torn
    assert "the line that was cut off stands in the record's description" in str(record.closing.first_cause)
    assert record.unaltered
    assert sorted(path.suffix for path in (tmp_path / "spring-1").iterdir()) == [".csv", ".json"]


ALIVE = """
import sys
from pathlib import Path
from test_records.contexts import CONTEXT, a_line, close
from batchtest.records.journal import Journal
with Journal.claim(Path(sys.argv[1]), CONTEXT) as journal:
    journal.write(a_line(1))
    print("written", flush=True)
    sys.stdin.readline()
    journal.write(a_line(2))
    close(journal)
"""


def test_an_attempt_that_somebody_still_writes_is_left_alone(tmp_path):
    """Another live process of the same station goes on and closes its own; once it is killed, its attempt is closed."""
    arguments = [sys.executable, "-c", ALIVE, str(tmp_path)]
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join((str(TESTS), str(TESTS.parent)))}
    options = {"env": environment, "stdin": subprocess.PIPE, "stdout": subprocess.PIPE, "text": True}
    with subprocess.Popen(arguments, **options) as one, subprocess.Popen(arguments, **options) as other:  # type: ignore[call-overload]
        assert (one.stdout.readline(), other.stdout.readline()) == ("written\n", "written\n")
        assert found(tmp_path) == []
        one.communicate("go on\n", timeout=20)
        other.send_signal(signal.SIGKILL)
        other.wait(20)
        assert [each.attempt.outcome for each in found(tmp_path) if each.attempt] == ["stopped"]
    outcomes = {path.name: read_record(path).closing.outcome for path in (tmp_path / "spring-1").glob("*.csv")}
    assert sorted(outcomes.values()) == ["pass", "stopped"]
    assert verify(tmp_path).damage == ()


def test_another_stations_attempt_is_its_own_to_close(tmp_path):
    """On a folder that stations share each closes its own: a lock may not reach from one computer to the other."""
    left(tmp_path, 1, station="bench-2")
    assert found(tmp_path, "bench-1") == []
    assert len(found(tmp_path, "bench-2")) == 1


def test_every_batch_is_searched(tmp_path):
    """A station that died in one batch and begins another closes the one before."""
    left(tmp_path, 1, batch="spring-1")
    left(tmp_path, 1, batch="spring-2")
    assert [each.name for each in found(tmp_path)] == ["spring-1/VN-0001.1", "spring-2/VN-0001.1"]
    assert found(tmp_path) == []


def test_an_attempt_that_had_not_begun_goes(tmp_path):
    """Killed between its number and its context it holds nothing; the number is free again."""
    part = left(tmp_path)
    part.with_name(part.name.replace(".csv.part", BEGUN)).unlink()
    part.write_bytes(header()[:30])
    assert found(tmp_path) == []
    assert list((tmp_path / "spring-1").iterdir()) == []


def test_lines_without_a_context_stay_open_and_are_said(tmp_path):
    """What nobody knows the instruments of becomes no record; nothing of it is touched."""
    part = left(tmp_path, 1)
    part.with_name(part.name.replace(".csv.part", BEGUN)).unlink()
    (only,) = found(tmp_path)
    assert (only.name, only.attempt) == ("spring-1/VN-0001.1", None)
    assert "which says what it was made with, is not there" in only.why
    assert part.read_bytes() == header() + row_of(a_line(1))


@pytest.mark.parametrize(
    ("ending", "text", "why"),
    [
        pytest.param(BEGUN, "{}", "is damaged; it does not say what its attempt was made with", id="context"),
        pytest.param(".csv.part", "a,b\r\n1,2\r\n", "line 1: has other columns than a record", id="lines"),
    ],
)
def test_what_is_damaged_stays_open_and_is_said(tmp_path, ending, text, why):
    """Damage is never closed into a record that looks whole; the others are closed all the same."""
    part = left(tmp_path, 1)
    part.with_name(part.name.replace(".csv.part", ending)).write_text(text)
    left(tmp_path, 1, serial="VN-0002")
    first, second = found(tmp_path)
    assert first.attempt is None
    assert why in first.why
    assert second.attempt is not None
    assert part.exists()


def test_a_part_beside_another_record_is_not_thrown_away(tmp_path):
    """Where a record of that number is there, the part goes only if it holds nothing else."""
    part = left(tmp_path, 1)
    part.with_name("VN-0001.1.csv").write_bytes(header())
    (only,) = found(tmp_path)
    assert "VN-0001.1.csv is there as well, and is not the same" in only.why
    assert part.exists()


def test_a_number_found_dead_by_another_station_is_not_used(tmp_path):
    """Who claims a number and loses it to one that tidies up at that moment takes the next."""
    folder = tmp_path / "spring-1"
    folder.mkdir()
    (folder / "VN-0001.1.csv.part").touch()
    with Journal.claim(tmp_path, CONTEXT) as journal:
        assert journal.attempt == 2
        close(journal)
    assert found(tmp_path) == []
    assert json.loads((folder / "VN-0001.2.csv-metadata.json").read_text())["url"] == "VN-0001.2.csv"
