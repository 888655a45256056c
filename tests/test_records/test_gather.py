"""Closed batches folded into Parquet: every line as it stands in its record, nothing left out without a word."""

from __future__ import annotations

import csv
import errno
import hashlib
import io
import json
import math
import os
import shutil
from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace
from pathlib import Path
from typing import Any

import duckdb
import fsspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.errors import RecordError, SetupError
from batchtest.formulas import STARTS, original
from batchtest.nouns import Line, Reading
from batchtest.records.closed import list_batch, numbered_rows, read_closed
from batchtest.records.columns import COLUMNS, NAMES
from batchtest.records.gather import Gathered, State, gather
from batchtest.records.journal import Journal
from batchtest.records.metadata import describe
from batchtest.records.parquet import connection, sql
from batchtest.records.record import Raw, read_raw, read_record
from batchtest.records.rows import header, row_of

from .contexts import CONTEXT, MEASUREMENT, a_line, close, closed
from .old_facts import OLD

FILE = "readings.parquet"


def rows(path: Path, columns: str = "*") -> list[tuple[Any, ...]]:
    """What a gathered file holds, in its own order."""
    return duckdb.execute(f"SELECT {columns} FROM read_parquet('{path}')").fetchall()


def states(batches: list[Gathered]) -> dict[str, State]:
    """Batch -> what became of it."""
    return {batch.folder.name: batch.state for batch in batches}


def record_with(reports: Path, *lines: Line, **context: Any) -> Path:
    """A closed record of these lines."""
    with Journal.claim(reports, replace(CONTEXT, **context)) as journal:
        for line in lines:
            journal.write(line)
        return reports / close(journal).record


@pytest.fixture
def old(tmp_path: Path) -> Path:
    """The kept records of format 1."""
    return Path(shutil.copytree(OLD / "1" / "reports", tmp_path / "reports"))


def test_every_line_of_every_record_is_there_as_it_was_written(old: Path):
    """All outcomes, a host, a waiver, in the order of the records: same numbers to the last digit, same verdicts."""
    done = gather([old])
    assert {State.GATHERED} == set(states(done).values())
    for batch in done:
        records = [read_record(path) for path in sorted(batch.folder.glob("*.csv"))]
        assert batch.records == len(records)
        expected = [
            (
                record.context.serial,
                record.context.attempt,
                record.closing.outcome,
                bool(record.context.waivers),
                record.context.kind,
                line.number,
                line.time,
                line.reading.value,
                line.reading.uncertainty,
                line.measurement.limit and line.measurement.limit.lower,
                line.judgement and line.judgement.verdict,
                line.judgement.why if line.judgement else "",
                line.reading.raw,
            )
            for record in records
            for line in record.lines
        ]
        assert batch.lines == len(expected)
        assert expected == rows(
            batch.folder / FILE,
            "serial, attempt, outcome, waived, kind, number, time, value, uncertainty, lower, verdict, why, raw",
        )


def test_the_columns_are_those_of_a_record(old: Path):
    """A column that is added to records is not forgotten here: same names, same order, among those of the context."""
    gather([old / "wrong"])
    found = [name for name, *_ in duckdb.execute(f"DESCRIBE SELECT * FROM '{old / 'wrong' / FILE}'").fetchall()]
    own = found[found.index("number") :]
    assert [name for name in own if name not in ("value_micro", "middle_micro")] == list(NAMES)
    text = sql("fold")
    listed = text[text.index("columns = {") : text.index("again AS")]
    assert [name for name in listed.split("'")[1::4] if name != "record"] == [column.name for column in COLUMNS]


def test_what_the_context_says_stands_beside_every_line(old: Path):
    """What a review asks for: who, where, with what."""
    gather([old])
    names = "board, revision, batch, station, operator, fixture, cable, bench, meter_serial, load_serial, cause"
    found = set(rows(old / "spring" / FILE, names))
    same = ("vent", "B", "spring", "bench-1", "Old Hand", "vent-nest", "vent-lead", "simulated", "SM-1", "SL-1")
    causes = {None, "logic-short", "logic-reversed", "core @ load point 3", "interrupted"}
    assert {(*same, cause) for cause in causes} == found


@pytest.mark.parametrize(
    ("value", "micro"),
    [
        pytest.param(4.98, 4_980_000, id="volts"),
        pytest.param(-2.3586666666666667, -2_358_667, id="negative"),
        pytest.param(5e-7, 1, id="half-a-step"),
        pytest.param(1e7, 10_000_000_000_000, id="megohms"),
        pytest.param(1e13, None, id="too-large"),
        pytest.param(math.inf, None, id="infinite"),
        pytest.param(math.nan, None, id="not-a-number"),
        pytest.param(None, None, id="unread"),
    ],
)
def test_whole_steps_stand_beside_the_value(tmp_path: Path, value: float | None, micro: int | None):
    """A value in whole millionths of its unit, for sums that are exact; none where there is no finite one."""
    reading = Reading(value=value, unit="V")
    record = record_with(tmp_path, replace(a_line(), reading=reading))
    gather([tmp_path])
    ((found, steps, middle),) = rows(record.parent / FILE, "value, value_micro, middle_micro")
    assert (steps, middle) == (micro, 5_000_000)
    assert found == value or (value is not None and math.isnan(value) and math.isnan(found))


def test_a_limit_on_one_side_has_no_middle(tmp_path: Path):
    """Nor has a line without a limit."""
    limit = MEASUREMENT.limit
    assert limit is not None
    lines = [
        replace(a_line(), measurement=replace(MEASUREMENT, limit=replace(limit, upper=None))),
        replace(a_line(), measurement=replace(MEASUREMENT, limit=None), judgement=None),
    ]
    record = record_with(tmp_path, *lines)
    gather([tmp_path])
    assert rows(record.parent / FILE, "middle_micro, verdict") == [(None, "pass"), (None, None)]


NASTY = [
    'a"b',
    '""',
    "line\r\nline",
    "\r\n",
    '",\r\n"',
    "a\nb",
    "a\rb",
    ",,,",
    " x ",
    "0 ohm é 漢",
    "null",
    "'",
    "\\",
    '\\"',
    "=1+1",
    '"',
    "\0",
]


def test_replies_with_quotes_and_line_ends_arrive_as_they_came(tmp_path: Path):
    """No text of an instrument makes two rows of one, or of two one."""
    record = record_with(tmp_path, *(a_line(number, raw=raw) for number, raw in enumerate(NASTY, 1)))
    gather([tmp_path])
    assert rows(record.parent / FILE, "number, raw") == list(enumerate(NASTY, 1))


@settings(deadline=None)
@given(st.lists(st.text(st.sampled_from(f"{STARTS}'; a"), max_size=8)))
def test_texts_are_gathered_as_they_came(texts: list[str]):
    """No apostrophe that keeps a spreadsheet away reaches whoever reads the gathered file, and none else is lost."""
    with connection() as database:
        found = database.execute(
            "SELECT original(text) FROM (SELECT unnest($texts::VARCHAR[]) AS text)", {"texts": texts}
        )
        assert [text for (text,) in found.fetchall()] == [original(text) for text in texts]


@given(st.lists(st.text(st.characters(codec="utf-8")), max_size=4))
def test_numbering_rows_adds_one_cell_to_each(texts: list[str]):
    """Whatever stands in the cells: the same rows, each with its record's place in front."""
    lines = [a_line(number, raw=text) for number, text in enumerate(texts, 1)]
    raw = Raw(sealed=None, data=header() + b"".join(map(row_of, lines)), unaltered=True)  # type: ignore[arg-type]
    data, count = numbered_rows(17, raw)
    found = list(csv.reader(io.StringIO(data.decode(), newline=""), strict=True))
    own = list(csv.reader(io.StringIO(raw.data.decode(), newline=""), strict=True))[1:]
    assert (count, found) == (len(texts), [["17", *cells] for cells in own])


def test_a_second_run_adds_only_what_is_new(tmp_path: Path):
    """What is gathered is not written again; a batch with a new attempt is, whole."""
    for batch in ("one", "two"):
        closed(tmp_path, batch=batch)
    assert states(gather([tmp_path])) == {"one": State.GATHERED, "two": State.GATHERED}
    before = (tmp_path / "one" / FILE).stat()
    closed(tmp_path, batch="two")
    second = gather([tmp_path])
    assert states(second) == {"one": State.UNCHANGED, "two": State.GATHERED}
    assert [(batch.records, len(batch.files)) for batch in second] == [(1, 0), (2, 1)]
    after = (tmp_path / "one" / FILE).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    assert {1, 2} == {attempt for (attempt,) in rows(tmp_path / "two" / FILE, "attempt")}


def test_a_batch_with_an_open_attempt_is_left_and_said(tmp_path: Path):
    """It is not closed yet; the others do not wait for it."""
    closed(tmp_path, batch="done")
    closed(tmp_path, batch="busy")
    with Journal.claim(tmp_path, replace(CONTEXT, batch="busy", serial="VN-0002")):
        done = {batch.folder.name: batch for batch in gather([tmp_path])}
    assert (done["busy"].state, done["busy"].why) == (State.OPEN, "begun and not closed: VN-0002.1")
    assert done["done"].state is State.GATHERED
    assert not (tmp_path / "busy" / FILE).exists()


def alter(path: Path) -> None:
    """Another value in a line."""
    path.write_bytes(path.read_bytes().replace(b"4.98,V", b"4.99,V", 1))


def tear(path: Path) -> None:
    """The last line is cut."""
    path.write_bytes(path.read_bytes()[:-20])


def better(path: Path) -> None:
    """Another outcome in the description."""
    metadata = path.with_name(f"{path.name}-metadata.json")
    metadata.write_text(metadata.read_text().replace('"outcome": "pass"', '"outcome": "fail"'))


def bare(path: Path) -> None:
    """No description any more."""
    path.with_name(f"{path.name}-metadata.json").unlink()


def rename(path: Path) -> None:
    """Under another board's serial."""
    for name in (path.name, f"{path.name}-metadata.json"):
        path.with_name(name).rename(path.with_name(name.replace("0002", "0007")))


@pytest.mark.parametrize(
    ("harm", "name", "why"),
    [
        pytest.param(alter, "VN-0002.1.csv", "is not what was closed there", id="altered"),
        pytest.param(tear, "VN-0002.1.csv", "is not what was closed there", id="torn"),
        pytest.param(better, "VN-0002.1.csv", "is not what was closed there", id="description"),
        pytest.param(bare, "VN-0002.1.csv", "has no description that can be read", id="no-description"),
        pytest.param(Path.unlink, "VN-0002.1.csv", "is gone, its description", id="no-record"),
        pytest.param(rename, "VN-0007.1.csv", "is not what was closed there", id="renamed"),
    ],
)
def test_a_record_that_is_not_whole_is_left_out_and_named(
    tmp_path: Path, harm: Callable[[Path], object], name: str, why: str
):
    """The others of its batch are gathered; each run names it again, whether it reads it again or not."""
    closed(tmp_path)
    harm(tmp_path / closed(tmp_path, "VN-0002").record)
    for state in (State.GATHERED, State.UNCHANGED):
        (batch,) = gather([tmp_path])
        assert (batch.state, batch.records, list(batch.left_out)) == (state, 1, [name])
        assert why in batch.left_out[name]
    assert {"VN-0001"} == {serial for (serial,) in rows(batch.folder / FILE, "serial")}


def forged(reports: Path, old: bytes, new: bytes) -> Path:
    """A record with other bytes, and a description that has all its hashes right."""
    path = reports / closed(reports, "VN-0002").record
    path.write_bytes(path.read_bytes().replace(old, new, 1))
    sha256 = hashlib.sha256(path.read_bytes()).hexdigest()
    text, _ = describe(path.name, replace(read_raw(path).sealed.closing, csv_sha256=sha256), path.read_bytes())
    path.with_name(f"{path.name}-metadata.json").write_text(text)
    return path


@pytest.mark.parametrize(
    ("new", "why"),
    [
        pytest.param(b"4;98,V", "line 2: column value: '4;98' cannot be read", id="cell"),
        pytest.param(b"4.98,V,", "line 2: has 34 cells, not 33", id="cells"),
        pytest.param(b'"4.98,V', "the record is damaged", id="open-quote"),
    ],
)
def test_rows_that_are_none_cost_no_other_record(tmp_path: Path, new: bytes, why: str):
    """Somebody who can make hashes can make a file that nothing can read: it is found and named, the rest goes on."""
    closed(tmp_path)
    forged(tmp_path, b"4.98,V", new)
    (batch,) = gather([tmp_path])
    assert (batch.state, batch.records, batch.lines) == (State.GATHERED, 1, 2)
    assert why in batch.left_out["VN-0002.1.csv"]


def test_a_record_moved_to_another_batch_is_not_counted_there(tmp_path: Path):
    """Its own description says where it belongs."""
    record = tmp_path / closed(tmp_path, batch="spring").record
    (tmp_path / "autumn").mkdir()
    for path in record.parent.glob("VN*"):
        shutil.copy(path, tmp_path / "autumn")
    autumn, spring = gather([tmp_path])
    assert "is of batch 'spring', not of 'autumn'; put it back" in autumn.left_out["VN-0001.1.csv"]
    assert (autumn.records, spring.records, rows(tmp_path / "autumn" / FILE)) == (0, 1, [])


def test_what_was_gathered_is_not_lost_with_its_record(tmp_path: Path):
    """A record that is gone from the folder stays in the gathered file until a person decides."""
    closed(tmp_path)
    gone = tmp_path / closed(tmp_path, "VN-0002").record
    gather([tmp_path])
    bare(gone)
    gone.unlink()
    (batch,) = gather([tmp_path])
    assert batch.state is State.HELD
    assert "holds VN-0002.1, which is not in this folder or another record there; restore it" in batch.why
    assert {"VN-0001", "VN-0002"} == {serial for (serial,) in rows(batch.folder / FILE, "serial")}


@pytest.mark.parametrize("kind", ["folder", "file", "memory"])
def test_stations_in_several_places_write_to_one_store(tmp_path: Path, kind: str):
    """Same batch, same serials, at two places and at two stations of one place: a file each, all read as one table."""
    to = {"folder": f"{tmp_path}/all", "file": f"file://{tmp_path}/all", "memory": f"memory://{tmp_path.name}"}[kind]
    closed(tmp_path / "here", station="bench-1")
    closed(tmp_path / "here", station="bench-2")
    closed(tmp_path / "there", station="bench-3")
    for place, count in (("here", 2), ("there", 1)):
        (first,), (second,) = gather([tmp_path / place], to), gather([tmp_path / place], to)
        assert (first.state, len(first.files), first.records) == (State.GATHERED, count, count)
        assert (second.state, second.records) == (State.UNCHANGED, count)
    files, root = fsspec.core.url_to_fs(to)
    assert len(files.find(root)) == 3
    with duckdb.connect() as database:
        database.register_filesystem(files)
        found = database.execute(
            "SELECT station, batch, count(*) FROM read_parquet($files) GROUP BY ALL ORDER BY ALL",
            {"files": f"{files.unstrip_protocol(root)}/*/*/{FILE}"},
        ).fetchall()
    assert found == [(f"bench-{number}", "spring-1", 2) for number in (1, 2, 3)]


def test_two_places_with_one_station_name_do_not_overwrite_each_other(tmp_path: Path):
    """The second is held back and told why; what the first wrote stays."""
    to = f"{tmp_path}/all"
    closed(tmp_path / "here")
    closed(tmp_path / "there", "VN-0002")
    closed(tmp_path / "same", operator="another one")
    gather([tmp_path / "here"], to)
    for place in ("there", "same"):
        (batch,) = gather([tmp_path / place], to)
        assert batch.state is State.HELD
        assert "give the stations different names" in batch.why
    (path,) = Path(to).rglob("*.parquet")
    assert {("VN-0001", CONTEXT.operator)} == set(rows(path, "serial, operator"))


def test_a_file_that_cannot_be_written_leaves_the_old_one(
    tmp_path: Path, small_disk: Callable[[int], AbstractContextManager[None]]
):
    """A full disk: said as it is, nothing half there, and the next run goes on."""
    closed(tmp_path)
    gather([tmp_path])
    before = (tmp_path / "spring-1" / FILE).read_bytes()
    closed(tmp_path)
    with small_disk(1000), pytest.raises(RecordError, match="is not written: "):
        gather([tmp_path])
    assert before == (tmp_path / "spring-1" / FILE).read_bytes()
    assert [path for path in (tmp_path / "spring-1").iterdir() if "tmp" in path.name] == []
    assert states(gather([tmp_path])) == {"spring-1": State.GATHERED}


def test_a_file_that_is_no_gathered_one_is_replaced(tmp_path: Path):
    """What somebody else left under the name, or half of a file, does not count as gathered."""
    closed(tmp_path)
    closed(tmp_path, batch="other")
    (tmp_path / "spring-1" / FILE).write_bytes(b"PAR1 not at all")
    duckdb.execute(f"COPY (SELECT 1 AS one) TO '{tmp_path}/other/{FILE}' (FORMAT parquet)")
    assert {State.GATHERED} == set(states(gather([tmp_path])).values())
    assert len(rows(tmp_path / "spring-1" / FILE)) == len(rows(tmp_path / "other" / FILE)) == 2


def test_a_reader_of_the_old_file_is_not_disturbed(tmp_path: Path):
    """A review that has it open goes on in it; the new one takes the name at once."""
    closed(tmp_path)
    gather([tmp_path])
    with (tmp_path / "spring-1" / FILE).open("rb") as reader:
        before = reader.read()
        closed(tmp_path)
        gather([tmp_path])
        reader.seek(0)
        assert reader.read() == before != (tmp_path / "spring-1" / FILE).read_bytes()


def test_a_name_that_cannot_be_given_leaves_nothing_behind(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """The disk refuses the last step: said, and no half file stays."""
    closed(tmp_path)

    def refuse(*_: object) -> None:
        raise OSError(errno.EIO, "Input/output error")

    monkeypatch.setattr(os, "replace", refuse)
    with pytest.raises(RecordError, match=r"readings\.parquet cannot be written: Input/output error"):
        gather([tmp_path])
    assert [path.name for path in (tmp_path / "spring-1").iterdir() if "parquet" in path.name] == []


def test_a_station_whose_file_is_gone_is_gathered_anew(tmp_path: Path):
    """A batch is in a store only where every station's part of it is."""
    to = tmp_path / "all"
    for station in ("bench-1", "bench-2"):
        closed(tmp_path / "here", station=station)
    gather([tmp_path / "here"], str(to))
    gone = to / "station=bench-2" / "batch=spring-1" / FILE
    gone.unlink()
    assert states(gather([tmp_path / "here"], str(to))) == {"spring-1": State.GATHERED}
    assert len(rows(gone)) == 2


def test_an_edit_after_the_batch_was_gathered_is_found(tmp_path: Path):
    """As long as the file, with the time of the edit: the record leaves the gathered file, and is named."""
    closed(tmp_path, "VN-0002")
    record = tmp_path / closed(tmp_path).record
    gather([tmp_path])
    os.utime(record, ns=(0, 0))
    gather([tmp_path])
    alter(record)
    (batch,) = gather([tmp_path])
    assert (batch.state, batch.records, list(batch.left_out)) == (State.GATHERED, 1, ["VN-0001.1.csv"])


def test_an_edited_byte_with_its_old_time_is_found_when_the_batch_changes(tmp_path: Path):
    """An unchanged batch is told by names, sizes and times; with anything new in it every byte counts again."""
    record = tmp_path / closed(tmp_path).record
    gather([tmp_path])
    times = record.stat()
    alter(record)
    os.utime(record, ns=(times.st_atime_ns, times.st_mtime_ns))
    assert gather([tmp_path])[0].state is State.UNCHANGED
    closed(tmp_path, "VN-0002")
    (batch,) = gather([tmp_path])
    assert (batch.records, list(batch.left_out)) == (1, ["VN-0001.1.csv"])


def test_the_bytes_that_are_folded_are_those_that_were_verified(tmp_path: Path):
    """Somebody who changes a record between the two changes nothing that is gathered."""
    record = tmp_path / closed(tmp_path).record
    (raw,) = read_closed(list_batch(record.parent)).records
    data = raw.data
    alter(record)
    assert (raw.unaltered, raw.data, read_raw(record).unaltered) == (True, data, False)


@pytest.mark.parametrize(
    ("to", "message"),
    [
        pytest.param("s4://boards", r"'s4://boards': .*write a folder, or a URL such as s3://", id="unknown"),
        pytest.param("gs://boards", r"'gs://boards' cannot be opened: .*install batchtest\[s3\]", id="no-package"),
    ],
)
def test_a_store_that_cannot_be_opened_is_said_with_the_cure(tmp_path: Path, to: str, message: str):
    """Before anything is read."""
    with pytest.raises(SetupError, match=message):
        gather([tmp_path], to)


def test_a_store_that_is_gone_is_a_record_error(tmp_path: Path, monkeypatch: pytest.MonkeyPatch):
    """Whatever its backend raises: said what was not reached, and that it may be tried again."""
    closed(tmp_path)
    files = fsspec.filesystem("memory")
    monkeypatch.setattr(type(files), "pipe_file", lambda *_, **__: json.loads("no json"))
    with pytest.raises(RecordError, match=r"readings\.parquet was not reached: JSONDecodeError.*gather again"):
        gather([tmp_path], "memory://gone")
