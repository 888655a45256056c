"""Reading records back: damage is pointed at, alteration is flagged, a torn line is left out."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest

from batchtest.errors import RecordError
from batchtest.records.journal import Journal
from batchtest.records.record import read_part, read_record
from batchtest.records.rows import header, row_of
from test_records.contexts import CONTEXT, a_line, closed


@pytest.fixture
def path(tmp_path) -> Path:
    """The CSV of a closed record with two lines."""
    return tmp_path / closed(tmp_path).record


def metadata(path: Path) -> Path:
    """What stands beside a record."""
    return path.with_name(f"{path.name}-metadata.json")


def change(path: Path, **keys: Any) -> None:
    """Change the context block of a description."""
    described = json.loads(metadata(path).read_text())
    described["urn:batchtest:record"].update(keys)
    metadata(path).write_text(json.dumps(described))


def replace_in(path: Path, old: str, new: str) -> None:
    """Change a text in a file, once."""
    data = path.read_bytes()
    assert old.encode() in data
    path.write_bytes(data.replace(old.encode(), new.encode(), 1))


def test_a_record_as_it_was_closed_is_unaltered(path):
    """Reading changes nothing, and reading twice says the same."""
    assert read_record(path).unaltered
    assert read_record(path) == read_record(path)


@pytest.mark.parametrize(
    ("old", "new"),
    [
        pytest.param("4.98", "4.99", id="value"),
        pytest.param("inside", "Inside", id="one-letter"),
        pytest.param("\r\n", "\n", id="line-ends"),
    ],
)
def test_a_changed_value_is_flagged(path, old, new):
    """An edit of the lines is seen, and the record can still be shown."""
    replace_in(path, old, new)
    record = read_record(path)
    assert not record.unaltered
    assert len(record.lines) == 2


@pytest.mark.parametrize(
    "keys",
    [
        pytest.param({"outcome": "fail"}, id="outcome"),
        pytest.param({"first_cause": "x"}, id="first-cause"),
        pytest.param({"duration_s": 1.0}, id="duration"),
        pytest.param({"previous_sha256": "0" * 63 + "1"}, id="previous"),
        pytest.param({"added": 1}, id="added-key"),
        pytest.param({"sha256": "0" * 64}, id="own-hash"),
    ],
)
def test_a_changed_context_is_flagged(path, keys):
    """The hash covers all that is said of the attempt."""
    change(path, **keys)
    assert not read_record(path).unaltered


def test_a_record_under_another_name_is_flagged(path):
    """A good board's record copied under a bad board's serial does not pass as its own."""
    other = path.with_name("VN-0002.1.csv")
    shutil.copy(path, other)
    shutil.copy(metadata(path), metadata(other))
    assert not read_record(other).unaltered


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        pytest.param("4.98,V", "4;98,V", r"VN-0001\.1\.csv: line 2: column value: '4;98' cannot be read", id="cell"),
        pytest.param("elapsed_s", "seconds", r"line 1: has other columns than a record", id="header"),
        pytest.param("inside,", "inside,,", r"line 2: has 34 cells, not 33", id="cells"),
        pytest.param("inside,", '"inside,', r"line \d+: .*; the record is damaged", id="open-quote"),
    ],
)
def test_damage_names_file_line_and_column(path, old, new, message):
    """What cannot be read is pointed at."""
    replace_in(path, old, new)
    with pytest.raises(RecordError, match=message):
        read_record(path)


def test_text_that_is_not_utf8_names_its_line(path):
    """Bytes that are no text are damage on a line, not a crash."""
    path.write_bytes(path.read_bytes().replace(b"inside", b"in\xffside", 1))
    with pytest.raises(RecordError, match="line 2: is not UTF-8"):
        read_record(path)


def test_an_empty_file_is_no_record(path):
    """A file without its header says nothing."""
    path.write_bytes(b"")
    with pytest.raises(RecordError, match="line 1: has other columns than a record"):
        read_record(path)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        pytest.param("", r"metadata\.json: is no description of a record", id="empty"),
        pytest.param("[]", "is no description of a record", id="list"),
        pytest.param("{}", "is no description of a record", id="no-context"),
        pytest.param('{"urn:batchtest:record": {}}', "is no description of a record", id="empty-context"),
        pytest.param('{"urn:batchtest:record": 5}', "is no description of a record", id="number"),
        pytest.param('{"urn:batchtest:record": {"sha256": ""}}', "context: Field required", id="missing-keys"),
        pytest.param('{"urn:batchtest:record": {"sha256": "\udc80"}}', "line 1: is not UTF-8", id="not-utf8"),
    ],
)
def test_a_damaged_description_names_its_key(path, text, message):
    """A description that says too little names what is missing."""
    metadata(path).write_bytes(text.encode(errors="surrogatepass"))
    with pytest.raises(RecordError, match=message):
        read_record(path)


def test_a_missing_key_of_the_context_is_named(path):
    """The way to the key leads through the tables it lies in."""
    described = json.loads(metadata(path).read_text())
    del described["urn:batchtest:record"]["context"]["instruments"][0]["serial"]
    metadata(path).write_text(json.dumps(described))
    with pytest.raises(RecordError, match=r"context\.instruments\.0\.serial: Field required; the record is damaged"):
        read_record(path)


def test_a_record_without_its_description_is_said(path):
    """Lines without context do not stand up."""
    metadata(path).unlink()
    with pytest.raises(RecordError, match=r"VN-0001\.1\.csv has no description that can be read: No such file"):
        read_record(path)


def test_a_description_without_its_record_is_said(path):
    """A context without lines does not stand up either."""
    path.unlink()
    with pytest.raises(RecordError, match=r"VN-0001\.1\.csv cannot be read: No such file"):
        read_record(path)


def test_a_part_file_cut_anywhere_gives_its_whole_lines(tmp_path):
    """Whatever byte a power cut ends on, every whole line before it is read and nothing is made up."""
    lines = (a_line(1), a_line(2, raw='x"\r\n"\r\ny,'), a_line(3))
    data = header() + b"".join(map(row_of, lines))
    ends = [len(header() + b"".join(map(row_of, lines[:count]))) for count in range(4)]
    part = tmp_path / "VN-0001.1.csv.part"
    for length in range(len(data) + 1):
        part.write_bytes(data[:length])
        found = read_part(part)
        whole = sum(end <= length for end in ends)
        assert lines[: max(0, whole - 1)] == found.lines
        assert found.whole + found.torn == data[:length]
        assert bool(found.torn) == (length not in (0, *ends))


def test_damage_inside_a_part_file_is_pointed_at(tmp_path):
    """Only a last line that was cut off is left out; damage before it is said."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(a_line(1))
        journal.write(a_line(2))
    replace_in(journal.path, "4.98,V", "x,V")
    with pytest.raises(RecordError, match=r"\.part: line 2: column value: 'x' cannot be read"):
        read_part(journal.path)


def test_a_line_is_counted_as_an_editor_counts(tmp_path):
    """A reply with line ends in it does not shift the numbers in messages."""
    with Journal.claim(tmp_path, CONTEXT) as journal:
        journal.write(a_line(1, raw="a\r\nb"))
        journal.write(a_line(2, value=4.97))
    replace_in(journal.path, "4.97", "x")
    with pytest.raises(RecordError, match=r"line 4: column value"):
        read_part(journal.path)


def test_a_missing_part_file_is_said(tmp_path):
    """There is nothing to read of an attempt that is not there."""
    with pytest.raises(RecordError, match="cannot be read: No such file"):
        read_part(tmp_path / "VN-0001.1.csv.part")
