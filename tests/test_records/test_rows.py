"""A line becomes a row and comes back; the row is what the standards say."""

from __future__ import annotations

import csv
import io
import math
from dataclasses import replace
from datetime import timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.errors import RecordError
from batchtest.nouns import Judgement, Limit, Line, Measurand, Measurement, Phase, Reading, Verdict
from batchtest.records.columns import COLUMNS, NAMES
from batchtest.records.rows import header, line_of, row_of
from test_records.contexts import MEASUREMENT, STARTED, a_line

NUMBER = st.floats(allow_nan=False)
TEXT = st.text(st.characters(codec="utf-8"), max_size=20)
BOUND = st.none() | NUMBER
OFFSETS = st.integers(-720, 840).map(lambda minutes: timezone(timedelta(minutes=minutes)))
LIMITS = st.none() | st.builds(Limit, lower=BOUND, upper=BOUND, source=TEXT).filter(lambda limit: limit != Limit())
MEASUREMENTS = st.builds(
    Measurement,
    name=TEXT,
    phase=st.sampled_from(Phase),
    point=TEXT,
    measurand=st.sampled_from(Measurand),
    unit=st.sampled_from(["V", "A", "ohm", "%"]),
    range=NUMBER,
    limit=LIMITS,
    abort=LIMITS,
    load_point=st.none() | st.integers(0),
    load_A=BOUND,
    expected=BOUND,
    settle_s=NUMBER,
)
READINGS = st.builds(
    Reading,
    value=BOUND,
    unit=st.just(""),
    beyond=BOUND,
    spread=BOUND,
    count=st.integers(0),
    uncertainty=BOUND,
    raw=TEXT,
    nplc=NUMBER,
    settle_s=NUMBER,
    settled=st.booleans(),
    status=TEXT,
)
JUDGEMENTS = st.none() | st.builds(Judgement, verdict=st.sampled_from(Verdict), guard=NUMBER, why=TEXT)
LINES = st.builds(
    Line,
    number=st.integers(1),
    time=st.datetimes(timezones=OFFSETS),
    elapsed_s=NUMBER,
    measurement=MEASUREMENTS,
    reading=READINGS,
    judgement=JUDGEMENTS,
).map(lambda line: replace(line, reading=replace(line.reading, unit=line.measurement.unit)))

NASTY = [
    pytest.param("a,b;c", id="comma"),
    pytest.param('say "4.98"', id="quotes"),
    pytest.param('"', id="one-quote"),
    pytest.param("first\nsecond\r\nthird\r", id="line-ends"),
    pytest.param("=1+1", id="formula"),
    pytest.param("Lüfter – 30 µV Ω", id="umlauts"),
    pytest.param(" padded ", id="spaces"),
    pytest.param("NA", id="looks-missing"),
    pytest.param("a\x00b\x1bc", id="control-characters"),
]


def parsed(row: bytes) -> list[str]:
    """The cells of one row, by Python's own reader."""
    (cells,) = csv.reader(io.StringIO(row.decode(), newline=""), strict=True)
    return cells


def with_cell(column: str, text: str) -> list[str]:
    """The cells of a good row with one of them changed."""
    cells = parsed(row_of(a_line()))
    cells[NAMES.index(column)] = text
    return cells


@given(line=LINES)
def test_a_line_comes_back_as_it_was(line):
    """Every field of a line survives the row: numbers to the last bit, texts to the last character."""
    assert line == line_of(parsed(row_of(line)))


@pytest.mark.parametrize("text", NASTY)
def test_nasty_text_comes_back_as_it_was(text):
    """Stored exact, whatever an instrument answers."""
    line = a_line(raw=text)
    assert text == line_of(parsed(row_of(line))).reading.raw


def test_not_a_number_stays_one():
    """A value that is not a number is written in XML Schema's word and read back as one."""
    row = row_of(a_line(value=math.nan))
    assert b",NaN," in row
    assert math.isnan(line_of(parsed(row)).reading.value)


@pytest.mark.parametrize(("value", "text"), [(math.inf, "INF"), (-math.inf, "-INF"), (0.1, "0.1"), (5e-324, "5e-324")])
def test_numbers_are_the_shortest_that_read_back(value, text):
    """Decimal point, no rounding, XML Schema's words for infinities."""
    assert text == parsed(row_of(a_line(value=value)))[NAMES.index("value")]


def test_a_ratio_is_written_as_the_number_it_is():
    """2 % regulation stands as 0.02 with unit 1, so that nobody reads it as 0.02 %."""
    reading = Reading(value=0.02, unit="%")
    line = replace(a_line(), measurement=replace(MEASUREMENT, unit="%"), reading=reading)
    cells = parsed(row_of(line))
    assert (cells[NAMES.index("value")], cells[NAMES.index("unit")]) == ("0.02", "1")
    assert reading == line_of(cells).reading


def test_rows_follow_the_csv_standard(reference):
    """RFC 4180, section 2: its sample's cells are written and read as it says."""
    case = reference("12_data_interchange", "rfc4180-a")
    (aaa, quoted, ccc), (_, padded, broken) = case["expected"]["rows"]
    line = replace(a_line(raw=broken), judgement=Judgement(verdict=Verdict.PASS, why=quoted))
    line = replace(line, measurement=replace(MEASUREMENT, name=aaa, point=ccc, limit=Limit(lower=1.0, source=padded)))
    row = row_of(line)
    for written in (b",aaa,", b',"b""bb",', b",ccc,", b", y ,", b',"line1\r\nline2",'):
        assert written in row
    assert row.endswith(b"\r\n")
    sample = list(csv.reader(io.StringIO(case["inputs"]["text"], newline=""), strict=True))
    assert case["expected"]["rows"] == sample
    assert line == line_of(parsed(row))


@pytest.mark.parametrize("index", [0, 1])
def test_times_follow_the_internet_standard(reference, index):
    """RFC 3339, section 5.8: its examples are the moments it says."""
    case = reference("12_data_interchange", "rfc3339-a")
    time = line_of(with_cell("time", case["inputs"]["text"][index])).time
    assert case["expected"]["epoch"][index] == pytest.approx(time.timestamp(), abs=case["tolerance"]["abs"])


def test_times_carry_their_offset():
    """A time is written with the offset it was taken at, and comes back as the same moment."""
    here = STARTED.astimezone(timezone(timedelta(hours=-8)))
    cells = parsed(row_of(replace(a_line(), time=here)))
    assert cells[NAMES.index("time")] == "2026-03-02T00:15:00-08:00"
    assert line_of(cells).time == STARTED


def test_the_header_names_every_column_once():
    """The columns are fixed, and documented in one place."""
    assert list(NAMES) == parsed(header())
    assert len(set(NAMES)) == len(COLUMNS)


@pytest.mark.parametrize(
    ("line", "message"),
    [
        pytest.param(
            replace(a_line(), time=STARTED.replace(tzinfo=None)), r"line 1: the time .* has no offset", id="time"
        ),
        pytest.param(
            replace(a_line(), reading=Reading(value=1.0, unit="A")),
            r"line 1 \(logic @ load point 2\): read in 'A', to be in 'V'",
            id="unit",
        ),
        pytest.param(a_line(raw="\udc80"), r"line 1 .*'.*udc80.*' is not Unicode", id="text"),
    ],
)
def test_what_could_not_be_read_back_is_not_written(line, message):
    """A record holds nothing that its reader would refuse."""
    with pytest.raises(RecordError, match=message):
        row_of(line)


@pytest.mark.parametrize(
    ("column", "text"),
    [
        ("number", "one"),
        ("time", "yesterday"),
        ("time", "2026-03-02T08:15:00"),
        ("phase", "teardown"),
        ("measurand", ""),
        ("value", "4,98"),
        ("lower", "low"),
        ("count", ""),
        ("settled", "maybe"),
        ("verdict", "PASS"),
        ("range", ""),
    ],
)
def test_a_cell_that_cannot_be_read_names_its_column(column, text):
    """Damage is pointed at, not skipped."""
    with pytest.raises(RecordError, match=f"column {column}: '{text}' cannot be read; the record is damaged"):
        line_of(with_cell(column, text))


def test_a_row_of_another_length_is_refused():
    """A row with a cell too few is not guessed at."""
    with pytest.raises(RecordError, match=f"has {len(NAMES) - 1} cells, not {len(NAMES)}"):
        line_of(with_cell("raw", "")[:-1])
