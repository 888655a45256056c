"""The growing record: claimed once, on the disk line by line, closed whole or not at all."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
from dataclasses import replace
from pathlib import Path
from types import MappingProxyType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.errors import RecordError, SetupError
from batchtest.nouns import Outcome
from batchtest.records.journal import Journal
from batchtest.records.names import attempt_files
from batchtest.records.record import read_part, read_record
from batchtest.records.rows import row_of
from test_records.contexts import CONTEXT, a_line, close, closed

TESTS = Path(__file__).parents[1]


def files(folder: Path) -> list[str]:
    """Names in a folder, hidden ones too."""
    return sorted(path.name for path in folder.iterdir())


def python(script: str, *arguments: object) -> subprocess.Popen[str]:
    """Another process with this room's helpers at hand."""
    return subprocess.Popen(
        [sys.executable, "-c", script, *map(str, arguments)],
        env={**os.environ, "PYTHONPATH": str(TESTS)},
        stdout=subprocess.PIPE,
        text=True,
    )


def test_an_attempt_becomes_a_record(tmp_path):
    """What was written comes back, with its context, outcome and place."""
    attempt = closed(tmp_path, outcome=Outcome.FAIL, cause="logic @ load point 2: too low")
    record = read_record(tmp_path / attempt.record)
    assert attempt.record == "spring-1/VN-0001.1.csv"
    assert record.attempt == attempt
    assert record.unaltered
    assert record.context == replace(CONTEXT, attempt=1)
    assert (record.closing.duration_s, record.closing.proof) == (90.25, ("id resistor", "feed resistance"))
    assert files(tmp_path / "spring-1") == ["VN-0001.1.csv", "VN-0001.1.csv-metadata.json"]


def test_every_line_is_on_the_disk_when_write_returns(tmp_path):
    """Nothing waits in memory: the part file grows by a whole row at each line."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        for number in (1, 2, 3):
            journal.write(a_line(number))
            assert [line.number for line in read_part(journal.path).lines] == list(range(1, number + 1))


def test_a_retest_is_the_next_attempt(tmp_path):
    """The same serial twice keeps both records; the context says which attempt it is."""
    assert [closed(tmp_path).number, closed(tmp_path).number] == [1, 2]
    assert read_record(tmp_path / "spring-1" / "VN-0001.2.csv").context.attempt == 2


@pytest.mark.parametrize(
    ("there", "number"),
    [
        pytest.param([], 1, id="first"),
        pytest.param(["VN-0001.1.csv"], 2, id="after-a-closed-one"),
        pytest.param(["VN-0001.1.csv.part"], 2, id="after-an-open-one"),
        pytest.param(["VN-0001.1.csv-metadata.json"], 2, id="after-a-record-that-lost-its-lines"),
        pytest.param(["VN-0001.1.csv", "VN-0001.3.csv"], 4, id="no-gap-is-filled"),
        pytest.param(["VN-0001.9.csv", "VN-0001.10.csv"], 11, id="numbers-not-letters"),
        pytest.param(["VN-0002.7.csv", "VN-0001.5.7.csv"], 1, id="other-serials"),
    ],
)
def test_a_number_is_used_once(tmp_path, there, number):
    """A number is free only if no file of such an attempt, open or closed, is there or was before a later one."""
    (tmp_path / "spring-1").mkdir()
    for file in there:
        (tmp_path / "spring-1" / file).touch()
    with Journal.claim(tmp_path, CONTEXT) as journal:
        assert number == journal.attempt == journal.context.attempt


CLAIM = """
import sys
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from test_records.contexts import CONTEXT, close
from batchtest.records.journal import Journal
for turn in range(25):
    with Journal.claim(Path(sys.argv[1]), replace(CONTEXT, station=sys.argv[2])) as journal:
        print(journal.attempt)
        if turn % 2:
            close(journal)
"""


def test_stations_on_one_folder_never_share_an_attempt(tmp_path):
    """Eight processes claim and close 25 attempts each at one serial: 200 numbers, none twice, none left out."""
    stations = [python(CLAIM, tmp_path, f"bench-{number}") for number in range(8)]
    claimed = [int(number) for station in stations for number in station.communicate(timeout=60)[0].split()]
    assert [station.returncode for station in stations] == [0] * 8
    assert list(range(1, 201)) == sorted(claimed)
    endings = dict(attempt_files(tmp_path / "spring-1"))
    assert len(endings) == 200
    assert len(list((tmp_path / "spring-1").iterdir())) == 8 * (12 * 2 + 13 * 2)


WRITE = """
import sys
from pathlib import Path
from test_records.contexts import CONTEXT, a_line
from batchtest.records.journal import Journal
journal = Journal.claim(Path(sys.argv[1]), CONTEXT)
for number in range(1, 100_000):
    journal.write(a_line(number))
    print(number, flush=True)
"""
READ = """
import sys
from pathlib import Path
from batchtest.records.record import read_part
part = read_part(Path(sys.argv[1]))
print(len(part.lines), part.lines[-1].number)
"""


def test_what_was_written_survives_a_kill(tmp_path):
    """A station killed while it writes leaves every line it was told was safe; another process reads them."""
    station = python(WRITE, tmp_path)
    assert station.stdout is not None
    for _ in range(40):
        told = int(station.stdout.readline())
    station.send_signal(signal.SIGKILL)
    rest = station.stdout.read().split()
    station.stdout.close()
    station.wait(20)
    told = int(rest[-1]) if rest else told
    count, last = map(
        int, python(READ, tmp_path / "spring-1" / "VN-0001.1.csv.part").communicate(timeout=20)[0].split()
    )
    assert told <= count == last <= told + 1
    assert Journal.claim(tmp_path, CONTEXT).attempt == 2


def test_a_given_up_attempt_stays_open(tmp_path):
    """Leaving without closing keeps what is there, as open; no half record takes its place."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(a_line())
    journal.abandon()
    assert files(tmp_path / "spring-1") == ["VN-0001.1.csv-metadata.json.part", "VN-0001.1.csv.part"]
    assert read_part(journal.path).lines == (a_line(),)


@pytest.mark.parametrize("field", ["serial", "batch", "station"])
@pytest.mark.parametrize("name", ["../x", "a b", "=1+1", "", "x" * 300, "CON", "VN/1"])
def test_a_name_that_is_no_file_name_is_refused(tmp_path, field, name):
    """Before anything is on the disk: names are checked, never mended."""
    with pytest.raises(SetupError, match=f"^{field} "):
        Journal.claim(tmp_path, replace(CONTEXT, **{field: name}))
    assert files(tmp_path) == []


@settings(deadline=None, max_examples=50)
@given(name=st.text(max_size=20))
def test_no_name_leads_out_of_the_reports_folder(tmp_path_factory, name):
    """Whatever is typed as a serial: it is refused, or its file lies in the batch's folder under that very name."""
    reports = tmp_path_factory.mktemp("reports")
    try:
        journal = Journal.claim(reports, replace(CONTEXT, serial=name))
    except SetupError:
        assert files(reports) == []
    else:
        journal.abandon()
        assert files(reports / "spring-1") == [f"{name}.1.csv-metadata.json.part", f"{name}.1.csv.part"]


def test_a_file_in_the_way_is_said(tmp_path):
    """A folder that cannot be made stops the board before it is tested."""
    (tmp_path / "reports").touch()
    with pytest.raises(RecordError, match=r"no record of VN-0001 can be begun; do not test: .*reports"):
        Journal.claim(tmp_path / "reports", CONTEXT)


def test_a_full_disk_stops_an_attempt_before_it_begins(tmp_path, small_disk):
    """A claim whose header does not fit leaves no file behind."""
    with small_disk(100), pytest.raises(RecordError, match="no record of VN-0001 can be begun; do not test"):
        Journal.claim(tmp_path, CONTEXT)
    assert files(tmp_path / "spring-1") == []


def test_a_full_disk_is_said_with_the_line_that_was_lost(tmp_path, small_disk):
    """A line that does not fit is an error; no further line and no closing hides it, and what fitted can be read."""
    journal = Journal.claim(tmp_path, CONTEXT)
    journal.write(a_line(1))
    with small_disk(journal.path.stat().st_size + 20), pytest.raises(RecordError, match="must not leave the bench"):
        journal.write(a_line(2))
    with pytest.raises(RecordError, match=r"^VN-0001 attempt 1 is not recorded; .*File too large"):
        journal.write(a_line(2))
    with pytest.raises(RecordError, match=r"^VN-0001 attempt 1 is not recorded; .*File too large"):
        close(journal)
    part = read_part(journal.path)
    assert (part.torn, part.lines) == (row_of(a_line(2))[:20], (a_line(1),))
    assert [a_line(1)] == journal.lines


def test_a_full_disk_while_closing_leaves_nothing_half_named(tmp_path, small_disk):
    """Where the description does not fit, the attempt stays open as it was, and the chain goes on without it."""
    before = closed(tmp_path)
    journal = Journal.claim(tmp_path, CONTEXT)
    journal.write(a_line())
    with (
        small_disk(1000),
        pytest.raises(RecordError, match="VN-0001 attempt 2 is not recorded; the board must not leave"),
    ):
        close(journal)
    attempts = [
        "VN-0001.1.csv",
        "VN-0001.1.csv-metadata.json",
        "VN-0001.2.csv-metadata.json.part",
        "VN-0001.2.csv.part",
    ]
    assert files(tmp_path / "spring-1") == attempts
    after = read_record(tmp_path / closed(tmp_path).record)
    assert after.closing.previous_sha256 == read_record(tmp_path / before.record).sha256


def test_a_name_that_is_taken_while_closing_undoes_the_rest(tmp_path):
    """A record never replaces anything; its description goes again, its lines stay."""
    journal = Journal.claim(tmp_path, CONTEXT)
    (tmp_path / "spring-1" / "VN-0001.1.csv").mkdir()
    with pytest.raises(RecordError, match="VN-0001 attempt 1 is not recorded"):
        close(journal)
    assert files(tmp_path / "spring-1") == ["VN-0001.1.csv", "VN-0001.1.csv-metadata.json.part", "VN-0001.1.csv.part"]


def test_a_part_file_that_is_gone_is_said(tmp_path):
    """A record cannot be closed over lines that somebody took away."""
    journal = Journal.claim(tmp_path, CONTEXT)
    journal.path.unlink()
    with pytest.raises(RecordError, match="VN-0001 attempt 1 is not recorded"):
        close(journal)


def test_a_part_file_that_was_changed_is_said(tmp_path):
    """What is closed is what this station wrote, not what else came into the file."""
    journal = Journal.claim(tmp_path, CONTEXT)
    with journal.path.open("a") as other:
        other.write("1,2,3\r\n")
    with pytest.raises(RecordError, match="is not what was written; something else has changed it"):
        close(journal)


def test_a_line_that_cannot_be_written_gives_the_attempt_up(tmp_path):
    """A record with a line left out is no record."""
    journal = Journal.claim(tmp_path, CONTEXT)
    with pytest.raises(RecordError, match="is not Unicode"):
        journal.write(a_line(raw="\udc80"))
    with pytest.raises(RecordError, match=r"VN-0001 attempt 1 is not recorded; .* is not Unicode"):
        close(journal)


@pytest.mark.parametrize("key", [{"ambient_C": float("nan")}, {"operator": "\udc80"}])
def test_a_context_that_cannot_be_written_is_said(tmp_path, key):
    """Not-a-number and broken text are no context that stands up years later; said before anything is measured."""
    with pytest.raises(RecordError, match=r"VN-0001\.1\.csv-metadata.*: the context cannot be written"):
        Journal.claim(tmp_path, replace(CONTEXT, **key))
    assert files(tmp_path / "spring-1") == []


def test_a_cause_that_cannot_be_written_is_said(tmp_path):
    """Broken text from an instrument leaves the attempt open with all its lines, and no half description."""
    journal = Journal.claim(tmp_path, CONTEXT)
    with pytest.raises(RecordError, match=r"not recorded; .*: VN-0001\.1\.csv: the context cannot be written"):
        close(journal, Outcome.STOPPED, "meter: \udc80")
    assert files(tmp_path / "spring-1") == ["VN-0001.1.csv-metadata.json.part", "VN-0001.1.csv.part"]


@pytest.mark.parametrize("how", ["removed", "moved"])
def test_a_folder_that_vanishes_is_said_at_the_next_line(tmp_path, how):
    """A line that goes to a file nobody will find again is not recorded, though the disk took it."""
    journal = Journal.claim(tmp_path, CONTEXT)
    journal.write(a_line(1))
    shutil.rmtree(tmp_path / "spring-1") if how == "removed" else (tmp_path / "spring-1").rename(tmp_path / "spring-2")
    with pytest.raises(RecordError, match=r"VN-0001 attempt 1 is not recorded; .*VN-0001\.1\.csv\.part was taken away"):
        journal.write(a_line(2))
    with pytest.raises(RecordError, match="VN-0001 attempt 1 is not recorded"):
        close(journal)


def test_a_record_is_closed_once(tmp_path):
    """What is final stays as it is."""
    journal = Journal.claim(tmp_path, CONTEXT)
    close(journal)
    with pytest.raises(RecordError, match="it is closed already"):
        close(journal)
    with pytest.raises(RecordError, match="takes nothing more"):
        journal.write(a_line())


def test_any_mapping_serves_as_context(tmp_path):
    """Hashes and sources may come as frozen mappings."""
    context = replace(CONTEXT, file_hashes=MappingProxyType({"limits/vent.toml": "00"}))
    with Journal.claim(tmp_path, context) as journal:
        attempt = close(journal)
    assert read_record(tmp_path / attempt.record).context.file_hashes == {"limits/vent.toml": "00"}


def test_a_record_reads_in_one_line_elsewhere(tmp_path):
    """The columns, numbers and texts are there for who opens the file with pandas, without a word about its format."""
    pandas = pytest.importorskip("pandas")
    with Journal.claim(tmp_path, CONTEXT) as journal:
        for number, raw in enumerate(['4.98,"x"', "a\r\nb", "OL"], start=1):
            journal.write(a_line(number, raw=raw))
        attempt = close(journal)
    table = pandas.read_csv(tmp_path / attempt.record)
    assert list(table["raw"]) == ['4.98,"x"', "a\r\nb", "OL"]
    assert list(table["value"]) == [4.98] * 3
    assert table["settled"].all()


def test_the_description_says_the_columns(tmp_path, reference):
    """W3C Metadata Vocabulary for Tabular Data: required keys, file name, and every column of the CSV in its order."""
    case = reference("12_data_interchange", "csvw-minimal")
    path = tmp_path / closed(tmp_path).record
    described = json.loads(path.with_name(f"{path.name}-metadata.json").read_text())
    columns = described["tableSchema"]["columns"]
    assert set(case["expected"]["required_keys"]) <= described.keys()
    assert case["expected"]["context"] == described["@context"]
    assert described["url"] == path.name
    assert path.read_text().splitlines()[0].split(",") == [column["name"] for column in columns]
    kinds = {column["datatype"] for column in case["expected"]["columns"]} | {"integer", "boolean"}
    assert {column["datatype"] for column in columns if column["name"] != "unit"} == kinds


def test_an_interrupt_while_writing_does_not_spoil_the_record(tmp_path):
    """Ctrl-C at any moment of a write leaves a record that closes, with that line or without it, never with half."""
    script = [sys.executable, "-m", "test_records.interrupting", str(tmp_path)]
    done = subprocess.run(
        script, cwd=Path(__file__).parents[1], capture_output=True, text=True, timeout=60, check=False
    )
    assert (done.returncode, done.stderr) == (0, "")
