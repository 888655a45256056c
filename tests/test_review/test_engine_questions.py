"""What the SQL gives back, against the same counted in plain Python."""

from __future__ import annotations

from collections import Counter, defaultdict
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.review import questions as q
from batchtest.review.engine import Engine, Sources, open_engine
from batchtest.review.engine.database import Duck

from .generated import STARTED, Line, a_line, an_attempt, sources, write

Attempts = list[list[Line]]
TELLS = ("pass", "fail", "doubtful")


def golden(attempt: list[Line]) -> bool:
    """A check of a reference board, or a challenge."""
    return attempt[0]["retest"] == "golden-check" or attempt[0]["batch"] == "challenges"


def tried(attempts: Attempts) -> dict[tuple[str, str, str], Attempts]:
    """Board -> its attempts in order; neither hosts nor reference boards."""
    found: dict[tuple[str, str, str], Attempts] = defaultdict(list)
    for attempt in attempts:
        if attempt[0]["kind"] == "board" and not golden(attempt):
            found[attempt[0]["board"], attempt[0]["batch"], attempt[0]["serial"]].append(attempt)
    return {key: sorted(each, key=lambda attempt: attempt[0]["attempt"]) for key, each in found.items()}


def telling(attempts: Attempts) -> list[Attempts]:
    """Of every board that has one, the attempts that tell of it, in order."""
    told = ([each for each in of_one if each[0]["outcome"] in TELLS] for of_one in tried(attempts).values())
    return [each for each in told if each]


def first_lines(attempts: Attempts) -> list[Line]:
    """The lines of all first attempts."""
    return [line for each in telling(attempts) for line in each[0]]


def usable(lines: Iterable[Line]) -> list[Line]:
    """Those that count as values."""
    return [
        line
        for line in lines
        if line["value"] is not None and line["settled"] and line["regulated"] and not line["repeated"]
    ]


def grouped(lines: Iterable[Line], *names: str) -> dict[tuple[Any, ...], list[Line]]:
    """Lines by what they have in these columns."""
    found: dict[tuple[Any, ...], list[Line]] = defaultdict(list)
    for line in lines:
        found[tuple(line[name] for name in names)].append(line)
    return dict(found)


def boards_of(attempts: Attempts, key: Callable[[Line], Any]) -> dict[Any, Counter[str]]:
    """The counts of `questions.Boards`, in plain Python."""
    found: dict[Any, Counter[str]] = defaultdict(Counter)
    for of_one in tried(attempts).values():
        told = [each for each in of_one if each[0]["outcome"] in TELLS]
        if not told:
            found[key(of_one[0][0])]["untested"] += 1
            continue
        first, outcomes = told[0][0], [each[0]["outcome"] for each in told]
        reworks = [each[0]["retest"] == "reworked" for each in told]
        recovered = any(each == "pass" and not any(reworks[: at + 1]) for at, each in enumerate(outcomes) if at)
        found[key(first)].update(
            boards=1, passed=outcomes[0] == "pass", failed=outcomes[0] == "fail", doubtful=outcomes[0] == "doubtful",
            passed_last=outcomes[-1] == "pass", retested=len(told) > 1, retests=len(told) - 1,
            recovered=outcomes[0] != "pass" and recovered, reworked=any(reworks), waived=first["waived"],
            simulated=first["simulated"],
        )  # fmt: skip
    return found


COUNTS = (
    "boards", "passed", "failed", "doubtful", "passed_last", "retested", "retests", "recovered", "reworked", "waived",
    "simulated", "untested",
)  # fmt: skip
LIMITED = ("board", "name", "unit", "lower", "upper")


def counts(row: q.Boards) -> dict[str, int]:
    """The counts of a row."""
    return {name: getattr(row, name) for name in COUNTS}


@pytest.mark.parametrize("by", q.Cell.__slots__)
def test_boards_are_counted_by_whatever_is_asked(engine: Engine, attempts: Attempts, by: str):
    """First-pass, last, retested, recovered, reworked, untested: the same numbers as counted one board at a time."""
    month = {id(line): f"{line['started']:%Y-%m}" for attempt in attempts for line in attempt}
    truth = boards_of(attempts, lambda line: (line["board"], month[id(line)] if by == "month" else line[by]))
    asked = engine.ask(q.Boards, by=(by,))
    expected = {key: {name: each[name] for name in COUNTS} for key, each in truth.items()}
    assert expected == {(row.board, getattr(row, by)): counts(row) for row in asked}
    assert all(sum(each[name] for each in truth.values()) for name in COUNTS)


def test_sums_are_those_of_whole_numbers(engine: Engine, attempts: Attempts):
    """Count, sum and sum of squares about the middle of the limits, least and most, of every measurement apart."""
    lines = grouped(first_lines(attempts), *LIMITED)
    asked = {(row.board, row.name, row.unit, row.lower, row.upper): row for row in engine.ask(q.Measured)}
    assert lines.keys() == asked.keys()
    for key, row in asked.items():
        own = [line for line in lines[key] if not line["repeated"]]
        off = [line["value_micro"] - (line["middle_micro"] or 0) for line in usable(own)]
        verdicts = Counter(line["verdict"] for line in own)
        assert (len(own), verdicts["pass"], verdicts["fail"], verdicts["doubtful"], verdicts["unread"]) == (
            row.readings, row.passed, row.failed, row.doubtful, row.unread
        )  # fmt: skip
        assert (len(off), sum(off), sum(each * each for each in off)) == (row.values, row.sum_micro, row.squares_micro)
        assert {line["middle_micro"] or 0 for line in own} == {row.origin_micro}
        assert (row.least_micro, row.most_micro) == (
            (min(off) + row.origin_micro, max(off) + row.origin_micro) if off else (None, None)
        )
    assert {5.25, 5.3} == {row.upper for row in asked.values() if row.name == "logic @ load point 1"}


def test_mean_and_deviation_are_those_of_numpy(engine: Engine, attempts: Attempts):
    """From the whole sums, against numpy's own of the values (an outside library), by batch."""
    lines = grouped(usable(first_lines(attempts)), *LIMITED, "batch")
    for row in engine.ask(q.Measured, by=("batch",), names=["logic @ load point 1"]):
        values = [line["value"] for line in lines[row.board, row.name, row.unit, row.lower, row.upper, row.batch]]
        mean = (row.origin_micro + row.sum_micro / row.values) / 1e6
        variance = (row.squares_micro - row.sum_micro**2 / row.values) / (row.values - 1) / 1e12
        assert np.mean(values) == pytest.approx(mean, abs=5e-7)
        assert np.std(values, ddof=1) == pytest.approx(variance**0.5, rel=1e-3)


def test_a_repeated_measurement_counts_once_a_board(engine: Engine, attempts: Attempts):
    """The interlock is read twice in an attempt; its values are as many as boards."""
    boards = sum(row.boards for row in engine.ask(q.Boards))
    assert boards == sum(row.values for row in engine.ask(q.Measured, names=["interlock"]))
    assert boards == len(telling(attempts))


def test_values_near_a_limit_are_counted(engine: Engine, attempts: Attempts):
    """Within the expanded uncertainty of the limit, on either side of it."""
    expected = sum(
        line["upper"] is not None and abs(line["value"] - line["upper"]) <= line["uncertainty"]
        for line in usable(first_lines(attempts))
    )
    assert expected == sum(row.near_upper for row in engine.ask(q.Measured)) > 0


def test_causes_are_counted_by_board_and_what_followed_apart(engine: Engine, attempts: Attempts):
    """A board has one first cause; what else did not pass on it is beside it."""
    expected: Counter[tuple[str, str, str]] = Counter()
    follow_on: Counter[tuple[str, str, str]] = Counter()
    for first in (each[0] for each in telling(attempts) if each[0][0]["outcome"] != "pass"):
        key = first[0]["board"], first[0]["outcome"], first[0]["cause"]
        expected[key] += 1
        follow_on[key] += sum(line["verdict"] not in ("pass", "") and line["name"] != key[2] for line in first)
    asked = {(row.board, row.outcome, row.cause): (row.boards, row.follow_on) for row in engine.ask(q.Causes)}
    assert {key: (expected[key], follow_on[key]) for key in expected} == asked
    assert sum(follow_on.values()) > 0


def test_stops_stand_apart(engine: Engine, attempts: Attempts):
    """A stopped attempt is the station's, and counted beside the boards."""
    expected = Counter(
        (each[0][0]["board"], each[0][0]["outcome"], each[0][0]["cause"])
        for of_one in tried(attempts).values()
        for each in [[attempt] for attempt in of_one if attempt[0]["outcome"] == "stopped"]
    )
    assert expected == {(row.board, row.outcome, row.cause): row.attempts for row in engine.ask(q.Stops)}


@pytest.mark.parametrize("by", ["point", "load_point"])
def test_boards_are_counted_by_rail_and_by_load_point(engine: Engine, attempts: Attempts, by: str):
    """A board failed at a rail where one of its readings there did; one that was not read there is not counted."""
    expected: Counter[tuple[Any, ...]] = Counter()
    for first in (each[0] for each in telling(attempts)):
        judged = [line for line in first if line["phase"] in ("load", "derived") and line["verdict"]]
        for (where,), lines in grouped(judged, by).items():
            verdicts = {line["verdict"] for line in lines}
            worst = "failed" if "fail" in verdicts else "passed" if verdicts == {"pass"} else "doubtful"
            if where is not None:
                expected[first[0]["board"], where, worst] += 1
    asked = {
        (row.board, getattr(row, by), name): getattr(row, name)
        for row in engine.ask(q.Spots, by=(by,))
        for name in ("passed", "failed", "doubtful")
        if getattr(row, name)
    }
    assert expected == asked


@pytest.mark.parametrize(
    ("line", "cause"),
    [
        pytest.param({"value": 5.245}, "near the upper limit", id="upper"),
        pytest.param({"value": 4.755}, "near the lower limit", id="lower"),
        pytest.param({"value": 4.755, "upper": None}, "near the lower limit", id="lower-alone"),
        pytest.param({"value": 5.0, "settled": False, "verdict": "unread"}, "not settled", id="settling"),
        pytest.param({"value": 5.0, "regulated": False, "verdict": "unread"}, "not regulated", id="load"),
        pytest.param({"value": None}, "no reading", id="silent"),
        pytest.param({"value": None, "beyond": 10.0}, "over range", id="beyond"),
        pytest.param({"value": 5.0, "lower": None, "upper": None, "verdict": "doubtful"}, "other", id="other"),
    ],
)
def test_doubt_has_a_cause(tmp_path: Path, line: dict[str, Any], cause: str):
    """The first that holds, of what can make a reading doubtful."""
    attempt = an_attempt([a_line(1, **line)], outcome="doubtful")
    with open_engine(sources(write(tmp_path / "one.parquet", attempt)), q.Selection()) as engine:
        assert [cause] == [row.cause for row in engine.ask(q.Doubts)]


def test_a_histogram_holds_every_value_once(engine: Engine, attempts: Attempts):
    """Strips between the limits, as numpy counts them; what is outside stands in the first and the last of all."""
    lines = grouped(usable(first_lines(attempts)), *LIMITED)
    strips = defaultdict(dict)
    for row in engine.ask(q.Bin):
        strips[row.board, row.name, row.unit, row.lower, row.upper][row.strip] = row.values
        span = row.from_micro, row.to_micro
        values = [line["value_micro"] for line in lines[row.board, row.name, row.unit, row.lower, row.upper]]
        if row.lower is not None and row.upper is not None:
            assert span == (round(row.lower * 1e6), round(row.upper * 1e6))
        else:
            limits = [round(each * 1e6) for each in (row.lower, row.upper) if each is not None]
            assert span == (min(values + limits), max(values + limits))
        if 0 <= row.strip < 50 and span[0] < span[1]:
            edges = [span[0] * 50 + (span[1] - span[0]) * place for place in range(51)]
            assert row.values == np.histogram([value * 50 for value in values], edges)[0][row.strip]
    assert {key: len(each) for key, each in lines.items()} == {key: sum(each.values()) for key, each in strips.items()}
    assert any({-1, 50} & each.keys() for each in strips.values())


def test_quartiles_are_values_that_were_read(engine: Engine, attempts: Attempts):
    """As numpy finds them by the inverse of the empirical distribution function (an outside library)."""
    judged = [line for line in usable(first_lines(attempts)) if line["lower"] is not None or line["upper"] is not None]
    lines = grouped(judged, *LIMITED, "batch", "fixture")
    asked = engine.ask(q.Quartiles)
    assert len(lines) == len(asked)
    for row in asked:
        own = lines[row.board, row.name, row.unit, row.lower, row.upper, row.batch, row.fixture]
        values = [line["value_micro"] for line in own]
        quartiles = np.quantile(values, [0.25, 0.5, 0.75], method="inverted_cdf")
        assert (len(values), *quartiles) == (row.values, row.first_micro, row.median_micro, row.third_micro)


def test_quartiles_found_slice_by_slice_are_the_same(
    gathered: Sources, engine: Engine, monkeypatch: pytest.MonkeyPatch
):
    """However few readings a database takes at once."""
    monkeypatch.setattr(Duck, "at_once", 500)
    with open_engine(gathered, q.Selection()) as sliced:
        asked = sliced.ask(q.Quartiles)
    assert len(asked) == len(set(asked))
    assert set(engine.ask(q.Quartiles)) == set(asked)


def test_outliers_are_found_although_they_passed(tmp_path: Path):
    """Six robust deviations from the median of thirty, and not of twenty-nine; at the bound itself is none."""
    spread = [5.0 + place * 1e-5 for place in range(-14, 15)]
    bound = round((2 * 7 * 1e-5) / 1.35 * 6, 6)
    for count, expected in ((29, 0), (30, 1)):
        values = [*spread[: count - 1], 5.0 + 10 * bound]
        lines = [
            line
            for place, value in enumerate(values)
            for line in an_attempt([a_line(1, round(value, 6))], serial=f"VN-{place:04}")
        ]
        with open_engine(sources(write(tmp_path / "outlier.parquet", lines)), q.Selection()) as engine:
            found = engine.ask(q.Outlier)
            assert expected == len(found)
    assert (found[0].verdict, found[0].outcome, found[0].found) == ("pass", "pass", 1)


def test_outliers_of_the_scenario_are_listed_up_to_so_many(gathered: Sources, engine: Engine):
    """The farthest first; how many there are in all is said."""
    every = engine.ask(q.Outlier)
    with open_engine(gathered, q.Selection(listed=1)) as short:
        listed = short.ask(q.Outlier)
    for row in listed:
        same = [each for each in every if (each.board, each.name, each.upper) == (row.board, row.name, row.upper)]
        assert row.found == len(same)
        assert max(abs(each.value_micro - each.median_micro) for each in same) == abs(
            row.value_micro - row.median_micro
        )


def test_individuals_are_those_of_the_boards_tested_last(gathered: Sources, attempts: Attempts):
    """In the order of their first attempts, the latest ones of each board type."""
    firsts = sorted((each[0] for each in telling(attempts)), key=lambda first: first[0]["started"])
    with open_engine(gathered, q.Selection(latest=5)) as engine:
        asked = engine.ask(q.Individual, names=["logic @ load point 1"])
    for board in ("vent", "mist"):
        expected = [first[0]["serial"] for first in firsts if first[0]["board"] == board][-5:]
        rows = sorted((row for row in asked if row.board == board), key=lambda row: row.order)
        assert expected == [row.serial for row in rows]
        assert [row.started_us for row in rows] == sorted(row.started_us for row in rows)


def test_reference_boards_are_in_no_yield(gathered: Sources, engine: Engine, attempts: Attempts):
    """A check of one is not an attempt at it; nor is anything at a serial that is named as one."""
    checks = [line for each in attempts if golden(each) for line in usable(each)]
    assert len(checks) == len(engine.ask(q.Golden))
    checked = {row.attempt for row in engine.ask(q.Golden, names=["interlock"]) if row.serial == "S-0000"}
    assert len(checked) == 2
    before = sum(row.boards for row in engine.ask(q.Boards))
    with open_engine(gathered, q.Selection(golden=("S-0001",))) as without:
        assert before - 1 == sum(row.boards for row in without.ask(q.Boards))
        assert "S-0001" in {row.serial for row in without.ask(q.Golden)}


def test_totals_say_what_was_looked_at(engine: Engine, attempts: Attempts):
    """Hosts are not among boards, and are counted as others."""
    (totals,) = engine.ask(q.Totals)
    of_boards = [each for each in attempts if each[0]["kind"] == "board"]
    assert (len(of_boards), len(telling(attempts)), 6, 1) == (
        totals.attempts, totals.boards, totals.batches, totals.others
    )  # fmt: skip
    assert totals.first_us == STARTED.timestamp() * 1e6
    assert totals.golden == sum(golden(each) for each in of_boards)


def test_hosts_are_reviewed_by_themselves(gathered: Sources):
    """With the kind of record that is asked for, nothing else is counted."""
    with open_engine(gathered, q.Selection(kind="host")) as engine:
        assert [row.board for row in engine.ask(q.Boards)] == ["cabinet"]


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("batch", "vent-1"),
        ("fixture", "mist-nest-1"),
        ("operator", "two"),
        ("station", "bench-2"),
        ("serial", "S-0007"),
    ],
)
def test_a_selection_chooses_boards_by_their_first_attempt(
    gathered: Sources, attempts: Attempts, field: str, value: str
):
    """A later attempt elsewhere makes no first one of it."""
    firsts = [each[0][0] for each in telling(attempts)]
    with open_engine(gathered, q.Selection(where={field: (value,)})) as engine:
        assert sum(first[field] == value for first in firsts) == sum(row.boards for row in engine.ask(q.Boards))


def test_a_rail_is_chosen_without_changing_yields(gathered: Sources, engine: Engine):
    """Points, load points and names narrow what was measured; the boards are the same."""
    where = {"point": ("logic",), "load_point": ("1",)}
    with open_engine(gathered, q.Selection(where=where)) as narrowed:
        assert {"logic @ load point 2"} == {row.name for row in narrowed.ask(q.Measured)}
        assert sum(row.boards for row in engine.ask(q.Boards)) == sum(row.boards for row in narrowed.ask(q.Boards))


@settings(max_examples=10, deadline=None)
@given(
    st.lists(
        st.tuples(
            st.integers(0, 3),
            st.sampled_from(["pass", "fail", "doubtful", "stopped", "refused"]),
            st.sampled_from(["", "re-seated", "reworked", "golden-check"]),
        ),
        min_size=1,
        max_size=12,
    )
)
def test_whatever_became_of_boards_is_counted_right(
    tmp_path_factory: pytest.TempPathFactory, told: list[tuple[int, str, str]]
):
    """Any order of outcomes and reasons: the same counts as one board at a time."""
    tries: Counter[int] = Counter()
    attempts = []
    for serial, outcome, retest in told:
        tries[serial] += 1
        attempts.append(
            an_attempt(
                [a_line(1, 5.0)], serial=f"VN-{serial:04}", attempt=tries[serial], outcome=outcome, retest=retest
            )
        )
    path = write(tmp_path_factory.mktemp("told") / "told.parquet", [line for each in attempts for line in each])
    with open_engine(sources(path), q.Selection()) as engine:
        asked = {row.board: counts(row) for row in engine.ask(q.Boards)}
    truth = boards_of(attempts, lambda line: line["board"])
    assert {key: {name: each[name] for name in COUNTS} for key, each in truth.items()} == asked


@settings(max_examples=5, deadline=None)
@given(st.lists(st.floats(-1e9, 1e9).map(lambda value: round(value, 6)), min_size=1, max_size=30))
def test_sums_of_squares_never_overflow(tmp_path_factory: pytest.TempPathFactory, values: list[float]):
    """Of any value that counts, exactly; what is beyond is a reading and no value."""
    lines = [
        line
        for place, value in enumerate([*values, 2e9])
        for line in an_attempt([a_line(1, value, lower=None, upper=None)], serial=f"VN-{place:04}")
    ]
    path = write(tmp_path_factory.mktemp("sums") / "sums.parquet", lines)
    with open_engine(sources(path), q.Selection()) as engine:
        (row,) = engine.ask(q.Measured)
    whole = [line["value_micro"] for line in lines[:-1]]
    assert (len(values) + 1, len(values)) == (row.readings, row.values)
    assert (sum(whole), sum(each * each for each in whole)) == (row.sum_micro, row.squares_micro)
