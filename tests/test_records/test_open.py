"""A record is open to others: RFC 4180 to the letter, CSV on the Web by an independent reader, right in pandas."""

from __future__ import annotations

import csv
import io
import json
import re
import warnings
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from batchtest.formulas import formula_fault, original
from batchtest.nouns import Judgement, Measurand, Reading, Verdict
from batchtest.records.columns import COLUMNS, NAMES, TEXTS, UCUM, UNITS
from batchtest.records.journal import Journal
from batchtest.records.metadata import BLOCK
from batchtest.records.record import read_record
from batchtest.records.rows import header, row_of
from test_records.contexts import CONTEXT, MEASUREMENT, a_line, close

ROOT = Path(__file__).parents[2]
DATATYPES = {column.name: column.datatype for column in COLUMNS}
#: RFC 4180, section 2, its grammar, with what is beyond ASCII let into text.
_TEXT = rb"[\x20\x21\x23-\x2b\x2d-\x7e\x80-\xff]"
_FIELD = rb'(?:"(?:' + _TEXT + rb'|,|\r|\n|"")*"|' + _TEXT + rb"*)"
FILE = re.compile(_FIELD + rb"(?:(?:,|\r\n)" + _FIELD + rb")*")
SAID = st.text(st.characters(codec="utf-8", exclude_categories=["Cc"]), max_size=12) | st.sampled_from(
    ['"', ',"', "=1+1", "+4.98E+00,-1E-3", "a\r\nb", " ", "'", "OL;=1", "\r", "@x", "－5"]
)


def a_record(reports: Path, *raws: str) -> Path:
    """A closed record of voltages, a ratio and a reading that did not come, with these replies."""
    ratio = replace(
        MEASUREMENT, name="logic load regulation", unit="%", measurand=Measurand.REGULATION, load_point=None
    )
    with Journal.claim(reports, CONTEXT) as journal:
        for number, raw in enumerate(raws or ("+4.98000000E+00,+4.98010000E+00",), start=1):
            journal.write(a_line(number, raw=raw))
        journal.write(replace(a_line(8), measurement=ratio, reading=Reading(value=-0.5, unit="%")))
        unread = Judgement(verdict=Verdict.UNREAD, why="-5 V came, out of range")
        journal.write(replace(a_line(9), reading=Reading(value=None, unit="V", raw="9.9E37"), judgement=unread))
        return reports / close(journal).record


def valid(csvw: Any, path: Path) -> Any:
    """What the independent reader makes of a record; it raises, or warns, of what is not valid."""
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        told = csvw.CSVW(f"{path}-metadata.json", validate=True)
        assert (told.is_valid, told.warnings) == (True, [])
    return told


@given(raw=SAID, source=SAID)
def test_every_row_is_what_the_csv_grammar_allows(raw, source):
    """RFC 4180, section 2: quotes doubled inside quotes, fields of plain text without, CR LF after every row."""
    row = row_of(replace(a_line(raw=raw), measurement=replace(MEASUREMENT, name=source)))
    assert FILE.fullmatch(header() + row)
    assert row.endswith(b"\r\n")


@pytest.mark.parametrize("text", ['"aaa,b\r\n', 'a"a,b\r\n', "a\nb,c\r\n", '"a"b,c\r\n'])
def test_the_grammar_would_find_a_row_that_is_not(text):
    """The check above can fail: an open quote, a quote in plain text, a bare line end, text after a quote."""
    assert FILE.fullmatch(text.encode()) is None


def test_the_published_sample_fits_the_grammar(reference):
    """RFC 4180's own sample, so that the check above is the grammar and not something narrower."""
    assert FILE.fullmatch(reference("12_data_interchange", "rfc4180-a")["inputs"]["text"].encode())


def test_an_independent_reader_takes_record_and_description(tmp_path):
    """CSV on the Web, read by a package that knows nothing of ours: valid, without a warning, every value the same."""
    csvw = pytest.importorskip("csvw")
    path = a_record(tmp_path, "+4.98E+00,+4.97E+00", "=1+1")
    told = valid(csvw, path)
    rows, lines = list(told.t.iterdicts()), read_record(path).lines
    assert [row["value"] for row in rows] == [line.reading.value for line in lines]
    assert [row["time"] for row in rows] == [line.time for line in lines]
    assert [original(row["raw"] or "") for row in rows] == [line.reading.raw for line in lines]


@pytest.mark.parametrize(
    ("before", "after", "wrong"),
    [
        pytest.param(",4.98,V", ",4;98,V", "4;98", id="number"),
        pytest.param(",4.98,V", ",4.98,volts", "volts", id="unit"),
        pytest.param("2026-03-02T08:15:01+00:00", "yesterday", "yesterday", id="time"),
        pytest.param("2,2026", "1,2026", "duplicate primary key: 1", id="line-twice"),
    ],
)
def test_the_independent_reader_finds_what_the_description_forbids(tmp_path, before, after, wrong):
    """The description says enough that another's program finds damage: it is not valid for any file whatever."""
    csvw = pytest.importorskip("csvw")
    path = a_record(tmp_path, "4.98", "4.98")
    text = path.read_bytes().decode()
    assert before in text
    path.write_bytes(text.replace(before, after, 1).encode())
    with pytest.raises((ValueError, UserWarning), match=wrong):
        valid(csvw, path)


def test_titles_are_what_stands_in_the_header(tmp_path):
    """Metadata Vocabulary, 5.6.1 and 6.4: a validator compares titles with the header row, so they must agree."""
    path = a_record(tmp_path)
    described = json.loads(Path(f"{path}-metadata.json").read_text())
    assert path.read_text().splitlines()[0].split(",") == [c["titles"] for c in described["tableSchema"]["columns"]]
    assert described[BLOCK]["csv_sha256"]


def test_units_are_ucum_codes(tmp_path, reference):
    """Every unit of a record is given by its case-sensitive UCUM code, in the property that schema.org has for it."""
    codes = set(reference("12_data_interchange", "ucum-a")["inputs"]["codes"])
    assert set(UCUM.values()) <= codes
    described = json.loads(Path(f"{a_record(tmp_path)}-metadata.json").read_text())
    columns = {column["name"]: column for column in described["tableSchema"]["columns"]}
    assert columns["load_A"]["schema:unitCode"] == "UCUM:A"
    assert columns["elapsed_s"]["schema:unitCode"] == "UCUM:s"
    told = {each["schema:value"]: each["schema:unitCode"] for each in columns["unit"]["schema:valueReference"]}
    assert told == {"V": "UCUM:V", "A": "UCUM:A", "ohm": "UCUM:Ohm", "s": "UCUM:s", "1": "UCUM:1"}
    assert tuple(told) == UNITS


@settings(suppress_health_check=[HealthCheck.function_scoped_fixture], max_examples=20)
@given(raw=SAID)
def test_no_cell_of_text_is_run_by_a_spreadsheet(raw):
    """Replies and the words about them are harmless in the file; numbers below zero stay numbers."""
    why = Judgement(verdict=Verdict.PASS, why="-200.00 uV is 49.80 mV above the lower bound")
    row = row_of(replace(a_line(raw=raw, value=-0.5), judgement=why)).decode()
    (cells,) = csv.DictReader(io.StringIO(row, newline=""), NAMES)
    assert (cells["value"], cells["why"][:5]) == ("-0.5", "'-200")
    assert [formula_fault(cells[name]) for name in TEXTS] == [None] * len(TEXTS)


def test_the_readme_s_line_opens_a_record_right(tmp_path):
    """The one line that README shows gives numbers, times and texts of the right kind, and nothing else."""
    pandas = pytest.importorskip("pandas")
    (line,) = re.findall(r"(?m)^readings = .*$", (ROOT / "README.md").read_text())
    found = a_record(tmp_path, "+4.98E+00,+4.97E+00")
    names = {"pandas": pandas}
    exec(line.replace('"reports/demo/VN-0001.1.csv"', repr(str(found))), names)
    table = names["readings"]
    right = {"integer": "iuf", "double": "iuf", "boolean": "b", "dateTimeStamp": "M", "string": "O"}
    kinds = {c.name: getattr(table[c.name].dtype, "kind", "O") for c in COLUMNS if table[c.name].notna().any()}
    assert [name for name, kind in kinds.items() if kind not in right[DATATYPES[name]]] == []
    assert kinds["number"] in "iu"
    assert list(table["value"].dropna()) == [4.98, -0.5]
    assert list(table["unit"]) == ["V", "1", "V"]
    assert table["load_point"].isna().sum() == 1
    assert {"raw", "why", "status"} <= TEXTS


def test_a_record_of_before_reads_as_it_was(tmp_path):
    """A reply that stands in an old record as the instrument gave it, without an apostrophe, is that reply."""
    path = a_record(tmp_path, "+4.98E+00,+4.97E+00")
    path.write_bytes(path.read_bytes().replace(b"\"'+4.98", b'"+4.98').replace(b"'-5 V came", b"-5 V came"))
    lines = read_record(path).lines
    assert [line.reading.raw for line in lines] == ["+4.98E+00,+4.97E+00", "", "9.9E37"]
    assert lines[-1].judgement is not None
    assert lines[-1].judgement.why == "-5 V came, out of range"
