"""What is asked of the records, and the rows that the SQL in `sql/` gives back: counts and whole numbers alone.

A board is a serial in its batch. Its first attempt is the first that tells of the board (passed, failed or doubtful);
stopped and refused attempts are the station's. Values are whole millionths of their base unit (microvolts, for volts),
moments are microseconds since 1970 in UTC, so that every engine gives the same digits. Rows come in no order.

Rows that are a `Cell` are counted by board type and by whichever other of its fields the asker names; the rest of them
are empty. They add up, as long as unit and limits are the same.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field


@dataclass(frozen=True, slots=True, kw_only=True)
class Selection:
    """Which records are looked at.

    Parameters
    ----------
    kind : "board" or "host"; never both at once.
    where : field -> the values that it may have; fields of `Cell`, "serial", "name", "point" or "load_point". The last
        three choose readings, and leave the yields as they are.
    golden : serials of reference boards: their attempts are in no yield, and serve to tell the station's own drift. A
        retest for the reason "golden-check" is such an attempt whatever the serial.
    latest : how many of the boards tested last `Individual` gives the values of, for each board type.
    listed : how many outliers are listed for each measurement, the farthest ones.
    """

    kind: str = "board"
    where: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    golden: tuple[str, ...] = ()
    latest: int = 200
    listed: int = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Cell:
    """What the attempts of a row have in common; empty where it was not asked for.

    `month` is that in which the attempt began, in UTC, as "2026-11"; `revision` is that of the limits.
    """

    board: str
    revision: str
    batch: str
    fixture: str
    cable: str
    station: str
    operator: str
    month: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Boards(Cell):
    """Boards by what became of them; each stands in the cell of its first attempt. `sql/boards.sql`

    Parameters
    ----------
    boards : boards with a first attempt; `passed`, `failed` and `doubtful` at that attempt make them up.
    passed_last : boards of which the last attempt that tells of them passed.
    retested, retests : boards with more than one such attempt; such attempts beyond the first.
    recovered : boards that did not pass at first and then passed with no rework before it.
    reworked : boards with an attempt after a rework.
    waived, simulated : boards of which the first attempt was made under a waiver, on a simulated bench.
    untested : boards of which every attempt was stopped or refused; they are in no other number.
    first_us, last_us : when the earliest and the latest of these attempts began.
    """

    boards: int
    passed: int
    failed: int
    doubtful: int
    passed_last: int
    retested: int
    retests: int
    recovered: int
    reworked: int
    waived: int
    simulated: int
    untested: int
    first_us: int
    last_us: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Stops(Cell):
    """Attempts that the station stopped or refused, by first cause; in no yield. `sql/stops.sql`

    `outcome` is "stopped" or "refused"; `cause` is empty where none was named.
    """

    outcome: str
    cause: str
    attempts: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Causes(Cell):
    """Boards that did not pass at their first attempt, by first cause. `sql/causes.sql`

    Parameters
    ----------
    outcome : "fail" or "doubtful".
    cause : name of the measurement or check that decided it.
    boards : boards; what failed after the first cause on the same board is not counted here.
    follow_on : readings of these attempts that did not pass besides the one named by the cause.
    """

    outcome: str
    cause: str
    boards: int
    follow_on: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured(Cell):
    """Readings of first attempts by what was measured and its limits, one a board. `sql/measured.sql`

    A measurement that is repeated within an attempt, such as the interlock, counts with the first of its readings.

    Parameters
    ----------
    name, point, phase, measurand, load_point, unit : as in the record; `load_point` is `None` where there is none.
    lower, upper : limits in base units; `None` is no bound. Readings with other limits are another row.
    readings : boards; `judged` those with a verdict, which is `passed`, `failed`, `doubtful` or `unread`.
    later_not_passed : repeated readings that were judged and did not pass; in no other number.
    values : readings with a value that had settled, under a load that was regulated, and was within a thousand million
        base units; the rest is of these.
    origin_micro : what the sums are about: the middle of the limits where there are both, or 0.
    sum_micro, squares_micro : sum of value - origin, and of its square, in micro and micro squared; exact.
    least_micro, most_micro : `None` without values.
    near_lower, near_upper : values within their expanded uncertainty of that limit, on either side.
    uncertainty_micro : the largest expanded uncertainty (k = 2) of a value; `None` where none is known.
    """

    name: str
    point: str
    phase: str
    measurand: str
    load_point: int | None
    unit: str
    lower: float | None
    upper: float | None
    readings: int
    judged: int
    passed: int
    failed: int
    doubtful: int
    unread: int
    later_not_passed: int
    values: int
    origin_micro: int
    sum_micro: int
    squares_micro: int
    least_micro: int | None
    most_micro: int | None
    near_lower: int
    near_upper: int
    uncertainty_micro: int | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Spots(Cell):
    """Boards by what became of one rail, or at one load point, at their first attempt. `sql/spots.sql`

    Counted by "point", by "load_point" or by both, as they are asked for. Only what was judged under load, and what is
    derived from it, counts; a derived value belongs to no load point.

    Parameters
    ----------
    point, load_point : empty and `None` where they were not asked for.
    boards : boards with such a reading: `passed` where all of them did, `failed` where one of them failed, else
        `doubtful`, which holds the unread ones too.
    """

    point: str
    load_point: int | None
    boards: int
    passed: int
    failed: int
    doubtful: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Doubts(Cell):
    """Readings of first attempts that were doubtful or not read, by cause. `sql/doubts.sql`

    `cause` is one of "over range", "no reading", "not settled", "not regulated", "near the lower limit",
    "near the upper limit" and "other", the first that holds. Repeated readings count.
    """

    name: str
    point: str
    verdict: str
    cause: str
    readings: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Bin:
    """How many values of a measurement fall into one of the strips of a histogram. `sql/bins.sql`

    Fifty strips lie between `from_micro` and `to_micro`: the limits where there are both, otherwise what the values and
    the one limit span. `strip` 0 to 49 is within; -1 all below, 50 all above; a value at `to_micro` is in the last.
    """

    board: str
    name: str
    unit: str
    lower: float | None
    upper: float | None
    from_micro: int
    to_micro: int
    strip: int
    values: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Quartiles:
    """Quartiles of the values of a measurement that has a limit, in one batch at one fixture. `sql/quartiles.sql`

    Each is the smallest value that at least this share of the values does not exceed: always one that was read.
    """

    board: str
    batch: str
    fixture: str
    name: str
    unit: str
    lower: float | None
    upper: float | None
    values: int
    first_micro: int
    median_micro: int
    third_micro: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A value farther from its batch's median than six robust deviations, (Q3 - Q1) / 1.35. `sql/outliers.sql`

    Only of measurements that have a limit, where the quartiles differ and there are at least 30 values. `found` is how
    many there are of this measurement in all; at most `Selection.listed` of them are rows. The verdict may be a pass,
    and so may be the attempt's `outcome`.
    """

    board: str
    batch: str
    fixture: str
    serial: str
    outcome: str
    name: str
    unit: str
    lower: float | None
    upper: float | None
    value_micro: int
    median_micro: int
    first_micro: int
    third_micro: int
    verdict: str
    found: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Individual:
    """One value of one of the boards that were tested last, at its first attempt. `sql/individuals.sql`

    `order` counts the boards of one type by time, from 1, the earliest first.
    """

    board: str
    batch: str
    fixture: str
    station: str
    serial: str
    order: int
    started_us: int
    name: str
    point: str
    measurand: str
    load_point: int | None
    unit: str
    lower: float | None
    upper: float | None
    value_micro: int
    verdict: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Golden:
    """One value of a reference board, at any attempt that tells of it. `sql/golden.sql`"""

    board: str
    batch: str
    fixture: str
    station: str
    serial: str
    attempt: int
    started_us: int
    name: str
    point: str
    unit: str
    value_micro: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Totals:
    """What was looked at, one row. `sql/totals.sql`

    Parameters
    ----------
    readings, attempts, boards, batches : of the selection; reference boards are in `readings` and `attempts` only.
    golden : attempts of reference boards.
    others : attempts of the other kind (hosts, where boards are asked for); they are in no other number.
    simulated, waived : attempts.
    """

    readings: int
    attempts: int
    boards: int
    batches: int
    golden: int
    others: int
    simulated: int
    waived: int
    first_us: int | None
    last_us: int | None
