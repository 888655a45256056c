"""`batchtest review`: from the records to a screen, a page, JSON and CSV; what cannot be done is one clear line."""

from __future__ import annotations

import csv
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from test_records.contexts import CONTEXT, MEASUREMENT, a_line, close

from batchtest.commands import program
from batchtest.errors import SetupError, StationError
from batchtest.nouns import Limit, Outcome
from batchtest.records.journal import Journal

#: Boards of each batch, and how many of them fail; one that failed is tested again and passes.
BATCHES = {"spring": (20, 5), "summer": (20, 0)}


def run(folder: Path, *arguments: str, columns: int = 80) -> Result:
    """Run the command in a folder, on a screen of so many columns."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        patch.setenv("COLUMNS", str(columns))
        return CliRunner().invoke(program, ["review", *arguments])


def refused(folder: Path, *arguments: str) -> str:
    """What the command says that cannot do its work."""
    done = run(folder, *arguments)
    assert isinstance(done.exception, StationError), done.output
    return str(done.exception)


def attempt(
    reports: Path, batch: str, serial: str, value: float, upper: float = 5.25, outcome: Outcome | None = None
) -> Path:
    """One closed record with one line; a value above `upper` fails."""
    measurement = replace(MEASUREMENT, limit=Limit(lower=4.75, upper=upper, source="data sheet of the display"))
    became = outcome or (Outcome.PASS if value <= upper else Outcome.FAIL)
    known = a_line(value=value, raw=f"{value:+.8E}")
    judgement = known.judgement
    assert judgement is not None
    if became is Outcome.FAIL:
        judgement = replace(judgement, verdict=type(judgement.verdict).FAIL, why="above")
    cause = None if became is Outcome.PASS else f"{measurement.name}: {value} V is too much"
    with Journal.claim(reports, replace(CONTEXT, batch=batch, serial=serial, simulated=True)) as journal:
        journal.write(replace(known, measurement=measurement, judgement=judgement))
        return reports / close(journal, became, cause).record


@pytest.fixture(scope="module")
def here(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder with two batches of twenty boards: five of the first fail, one of them passes when tested again."""
    folder = tmp_path_factory.mktemp("review")
    for batch, (boards, failed) in BATCHES.items():
        for place in range(boards):
            value = 5.3 if place < failed else 4.98 + place * 1e-3
            attempt(folder / "reports", batch, f"VN-{place:04d}", value)
    attempt(folder / "reports", "spring", "VN-0000", 5.0)
    return folder


@pytest.fixture(scope="module")
def told(here: Path) -> dict[str, Any]:
    """The review of that folder as a machine reads it."""
    done = run(here, "--json")
    assert done.exit_code == 0, done.output
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_the_screen_says_yield_interval_cause_and_what_to_do(here: Path):
    """Counts as they were made; the interval of 35 of 40 by Clopper and Pearson is 73.2 to 95.8 % (from scipy)."""
    done = run(here)
    lines = [" ".join(line.split()) for line in done.stdout.splitlines()]
    assert done.exit_code == 0
    assert lines[0] == "SIMULATED BENCH: no real board is measured"
    assert lines[1].startswith("2 batches, 40 boards, 41 attempts, 40 readings counted, 2026-03-02")
    assert "first-pass yield 35 of 40 88 % 73 to 96 %" in lines
    assert "recovered on retest 1 of 5 20 % 1 to 72 %" in lines
    assert any(re.fullmatch(r"spring 15 of 20 75 % 51 to 91 % ─+●─+", line) for line in lines)
    assert any(line.startswith("5 logic @ load point 2 100 %") for line in lines)
    assert lines.index("Worth acting on first") > lines.index("Nearest to their limits")


def test_a_wide_screen_names_the_worst_board(here: Path):
    """Where there is room; on 80 columns nothing is cut off either."""
    assert "VN-0000 50.0 mV outside" in run(here, columns=120).stdout
    assert max(len(line) for line in run(here, columns=80).stdout.splitlines()) <= 80


def test_batches_that_differ_are_told_apart_only_where_chance_does_not_do_it(told: dict[str, Any]):
    """5 of 20 against 0 of 20: p = 0.047 by Fisher's exact test, both sides (practice table of the trade)."""
    (by_batch,) = told["boards"][0]["comparisons"]
    (pair,) = by_batch["compared"]
    assert pair["p"] == pytest.approx(0.047, abs=5e-4)
    assert (pair["one"], pair["other"], pair["told"]) == ("spring", "summer", "worse")


def test_every_number_is_there_for_machines(told: dict[str, Any]):
    """The same counts as on the screen, and sums of the values as they were written."""
    (board,) = told["boards"]
    (measurement,) = board["measurements"]
    values = [5.3] * 5 + [4.98 + place * 1e-3 for place in [*range(5, 20), *range(20)]]
    assert (board["yields"]["first_pass"]["count"], board["yields"]["first_pass"]["of"]) == (35, 40)
    assert measurement["moments"]["count"] == 40
    assert measurement["moments"]["mean"] == pytest.approx(sum(values) / 40, abs=1e-9)


def test_tables_hold_what_the_object_holds(here: Path, told: dict[str, Any]):
    """One file for each kind of row, numbers to the last digit."""
    done = run(here, "--csv", "tables")
    paths = (here / "tables").glob("*.csv")
    tables = {path.stem: list(csv.DictReader(path.read_text().splitlines())) for path in paths}
    assert done.stdout.endswith("tables: tables\n")
    assert {"yields", "causes", "measurements", "histograms", "charts", "comparisons", "definitions"} <= set(tables)
    assert [row["first_pass_count"] for row in tables["yields"]] == ["35", "15", "20"]
    (measurement,) = told["boards"][0]["measurements"]
    assert float(tables["measurements"][0]["moments_mean"]) == measurement["moments"]["mean"]
    points = [row for row in tables["charts"] if row["chart"] == "individuals"]
    assert len(points) == len(next(one for one in measurement["charts"] if one["kind"] == "individuals")["points"])


def test_a_page_is_written_where_it_is_asked_for(here: Path):
    """And the screen says where."""
    done = run(here, "--page", "pages/review.html")
    assert done.stdout.endswith("page: pages/review.html\n")
    assert '<h2 id="b0">Board vent</h2>' in (here / "pages" / "review.html").read_text()


@pytest.mark.parametrize(
    ("arguments", "boards"),
    [
        pytest.param(("--where", "batch=spring"), 20, id="one-batch"),
        pytest.param(("--where", "batch=spring", "--where", "batch=summer"), 40, id="both-batches"),
        pytest.param(("--where", "serial=VN-0003"), 2, id="serial"),
        pytest.param(("--golden", "VN-0003"), 38, id="reference-board"),
    ],
)
def test_only_what_was_asked_for_is_counted(here: Path, arguments: tuple[str, ...], boards: int):
    """Conditions of one name are alternatives; a reference board is in no yield."""
    found = json.loads(run(here, *arguments, "--json").stdout)
    assert found["boards"][0]["yields"]["first_pass"]["of"] == boards


def test_groups_are_added_to_the_batches(here: Path):
    """In the order in which they were named; operators by name, never by yield."""
    found = json.loads(run(here, "--by", "operator", "--by", "load-point", "--json").stdout)
    groupings = found["boards"][0]["groupings"]
    assert [grouping["by"] for grouping in groupings] == ["batch", "operator", "load point"]
    assert [group["name"] for group in groupings[1]["groups"]] == [CONTEXT.operator]


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("nowhere",), "there is no folder nowhere; name the folder", id="folder"),
        pytest.param(("--by", "fixtur"), "--by 'fixtur': nothing is grouped by that; did you mean 'fixture'?", id="by"),
        pytest.param(("--where", "batc=x"), "nothing is chosen by 'batc'; did you mean 'batch'?", id="condition"),
        pytest.param(
            ("--where", "batch"), "--where 'batch' has no value; write it such as --where batch=VALUE", id="bare"
        ),
        pytest.param(("--where", "batch=sprin"), "there is no batch 'sprin'; did you mean 'spring'?", id="value"),
        pytest.param(("--engine", "duckbd"), "no engine 'duckbd'; did you mean 'duckdb'?", id="engine"),
    ],
)
def test_what_cannot_be_asked_names_the_cure(here: Path, arguments: tuple[str, ...], message: str):
    """A near miss is met with the right word, before anything is counted."""
    said = refused(here, *arguments)
    assert message in said
    assert "\n" not in said


def test_an_empty_folder_is_no_review(tmp_path: Path):
    """Nothing closed: test boards first."""
    (tmp_path / "reports").mkdir()
    assert refused(tmp_path) == "no closed record in reports; test boards first, or name another folder"
    assert isinstance(run(tmp_path).exception, SetupError)


def test_one_record_alone_is_reviewed_without_a_figure_of_merit(tmp_path: Path):
    """Nothing can be compared, and it says so."""
    attempt(tmp_path / "reports", "one", "VN-0001", 5.0)
    done = run(tmp_path)
    assert done.exit_code == 0
    assert "1 of 1" in done.stdout
    assert "one board" in done.stdout


def test_a_torn_record_is_named_and_makes_the_exit_code_one(tmp_path: Path):
    """It is in no number, and the rest is."""
    reports = tmp_path / "reports"
    attempt(reports, "spring", "VN-0001", 5.0)
    torn = attempt(reports, "spring", "VN-0002", 5.0)
    torn.write_bytes(torn.read_bytes()[:-9])
    done = run(tmp_path)
    assert done.exit_code == 1
    assert "spring/VN-0002.1.csv: left out: " in " ".join(done.stdout.split())
    assert "first-pass yield 1 of 1" in " ".join(done.stdout.split())


def test_an_open_attempt_is_named_and_what_is_closed_is_counted(tmp_path: Path):
    """Another station is still at it: exit code 0."""
    reports = tmp_path / "reports"
    attempt(reports, "spring", "VN-0001", 5.0)
    with Journal.claim(reports, replace(CONTEXT, batch="spring", serial="VN-0002")):
        done = run(tmp_path)
    assert done.exit_code == 0
    assert "begun and not closed: VN-0002.1 at bench-1" in " ".join(done.stdout.split())
    assert "first-pass yield 1 of 1" in " ".join(done.stdout.split())


def test_limits_that_changed_are_never_pooled(tmp_path: Path):
    """Two rows, each with its own limits and count, and a line that says so."""
    reports = tmp_path / "reports"
    for place in range(3):
        attempt(reports, "old", f"VN-{place:04d}", 5.0)
        attempt(reports, "new", f"VN-{place:04d}", 5.1, upper=5.2)
    done = run(tmp_path, columns=120)
    found = json.loads(run(tmp_path, "--json").stdout)["boards"][0]["measurements"]
    assert [(one["what"]["upper"], one["moments"]["count"], one["what"]["changed"]) for one in found] == [
        (5.2, 3, True),
        (5.25, 3, True),
    ]
    assert "different limits" in " ".join(done.stdout.split())


def test_all_failed_and_all_equal_are_reviewed(tmp_path: Path):
    """No spread and no pass: yields of nothing, no capability, no traceback."""
    for place in range(30):
        attempt(tmp_path / "reports", "bad", f"VN-{place:04d}", 5.5)
    done = run(tmp_path, "--page", "review.html")
    assert done.exit_code == 0, done.output
    assert "first-pass yield 0 of 30 0 % 0 to 12 %" in " ".join(done.stdout.split())
