"""The columns of a record, once: their names and what they mean.

RFC 4180 with a header, UTF-8, decimal point, base units. A number is the shortest text that reads back as the same
number. An empty cell is no value (in a text column: an empty text). A text that a spreadsheet would run as a formula
has an apostrophe before it (`batchtest.formulas`); records of before that are read all the same.
"""

from __future__ import annotations

from dataclasses import dataclass

#: A ratio ("%" in the nouns) stands in a record as the plain number it is: 0.02 with unit 1, not 0.02 %.
RATIO = "1"
#: What column unit may hold.
UNITS = ("V", "A", "ohm", "s", RATIO)
#: A unit as records write it -> its case-sensitive code in the Unified Code for Units of Measure.
UCUM = {"V": "V", "A": "A", "ohm": "Ohm", "s": "s", "power-line cycles": "1", RATIO: "1"}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name, title, datatype of the W3C vocabulary, unit, and whether it is always filled."""

    name: str
    title: str
    datatype: str = "string"
    unit: str = ""
    required: bool = False


OF_VALUE = "as in column unit"
COLUMNS = (
    Column("number", "line", "integer", required=True),
    Column("time", "wall time with offset", "dateTimeStamp", required=True),
    Column("elapsed_s", "time since the attempt began", "double", "s", required=True),
    Column("phase", "part of the procedure", required=True),
    Column("name", "what was to be measured", required=True),
    Column("point", "fixture point; empty for what the supply reads of itself"),
    Column("measurand", "kind of quantity", required=True),
    Column("load_point", "load point, counted from 0", "integer"),
    Column("load_A", "current drawn from this rail", "double", "A"),
    Column("value", "value; empty: no reading", "double", OF_VALUE),
    Column("unit", "unit of the value: V, A, ohm, s, or 1 for a ratio (0.02 is 2 %)", required=True),
    Column("beyond", "over range with contact proven: the true value is above this", "double", OF_VALUE),
    Column("spread", "standard deviation of a single raw value", "double", OF_VALUE),
    Column("count", "raw values averaged", "integer", required=True),
    Column("uncertainty", "expanded uncertainty, k = 2", "double", OF_VALUE),
    Column("lower", "lower limit, included", "double", OF_VALUE),
    Column("upper", "upper limit, included", "double", OF_VALUE),
    Column("limit_source", "where the limit comes from"),
    Column("guard", "guard band taken off each limit", "double", OF_VALUE),
    Column("verdict", "pass, fail, doubtful or unread; empty: not judged"),
    Column("why", "the verdict in words"),
    Column("range", "range of the instrument; 0: none", "double", OF_VALUE, required=True),
    Column("nplc", "integration time of one raw value; 0: not known", "double", "power-line cycles", required=True),
    Column("settle_s", "time from the last change of state to the value", "double", "s", required=True),
    Column("settled", "false: the value was still on its way when its time was over", "boolean", required=True),
    Column("expected", "value of a board with nominal parts", "double", OF_VALUE),
    Column("time_constant_s", "expected time constant at the point", "double", "s", required=True),
    Column("abort_lower", "below this nothing stays powered", "double", OF_VALUE),
    Column("abort_upper", "above this nothing stays powered", "double", OF_VALUE),
    Column("abort_source", "where the abort bounds come from"),
    Column("status", "status words of the instruments"),
    Column("raw", "the instrument's reply as it came, but for an apostrophe before what a spreadsheet would run"),
    Column("regulated", "false: a load or the supply did not hold what it was set to; not judged", "boolean"),
)
NAMES = tuple(column.name for column in COLUMNS)
#: Columns of every format that there was, the present one first; a later one adds to their end.
EVERY = (NAMES, NAMES[: NAMES.index("regulated")])
#: Columns that hold text, which an instrument may have written.
TEXTS = frozenset(column.name for column in COLUMNS if column.datatype == "string")
