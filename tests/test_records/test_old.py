"""Records of every format there ever was are read as they were written, and judged to the same verdicts."""

from __future__ import annotations

import json
import shutil
from collections import Counter
from pathlib import Path
from typing import Any

import pytest

from batchtest.errors import RecordError
from batchtest.judging.rule import first_cause, judge, outcome_of
from batchtest.nouns import Line, Outcome
from batchtest.records.chain import BEGINNING
from batchtest.records.challenge import BATCH
from batchtest.records.metadata import BLOCK, FORMAT
from batchtest.records.record import Record, read_record
from batchtest.records.verify import verify
from batchtest.records.waiver import read_waivers

from .old_facts import OLD, SUMMED, exact_sum, expected

VERSIONS = sorted(path for path in OLD.iterdir() if path.is_dir())
RECORDS = [
    pytest.param(version, name, facts, id=f"{version.name}-{name}")
    for version in VERSIONS
    for name, facts in json.loads((version / "expected.json").read_text()).items()
]


def numbers(lines: tuple[Line, ...], column: str) -> str:
    """The exact sum of what was read of a column."""
    limits = [line.measurement.limit for line in lines]
    found: dict[str, list[float | None]] = {
        "value": [line.reading.value for line in lines],
        "uncertainty": [line.reading.uncertainty for line in lines],
        "lower": [limit and limit.lower for limit in limits],
        "upper": [limit and limit.upper for limit in limits],
        "guard": [line.judgement and line.judgement.guard for line in lines],
        "load_A": [line.measurement.load_A for line in lines],
        "elapsed_s": [line.elapsed_s for line in lines],
    }
    return exact_sum(repr(number or 0.0) for number in found[column])


def verdicts(lines: tuple[Line, ...]) -> dict[str, int]:
    """How many lines came to which verdict."""
    return dict(Counter("not judged" if each.judgement is None else each.judgement.verdict.value for each in lines))


@pytest.mark.parametrize(("version", "name", "facts"), RECORDS)
def test_an_old_record_says_what_it_said(version: Path, name: str, facts: dict[str, Any]):
    """Outcome, cause, verdicts and every number are those of the day, and nobody has altered it."""
    record = read_record(version / "reports" / name)
    assert record.unaltered
    assert (facts["outcome"], facts["first_cause"]) == (record.closing.outcome, record.closing.first_cause)
    assert (facts["sha256"], facts["lines"]) == (record.sha256, len(record.lines))
    assert facts["verdicts"] == verdicts(record.lines)
    assert facts["sums"] == {column: numbers(record.lines, column) for column in SUMMED}


@pytest.mark.parametrize(("version", "name", "facts"), RECORDS)
def test_an_old_record_is_judged_today_as_it_was_then(version: Path, name: str, facts: dict[str, Any]):
    """Every reading, by the limit and the rule that its record carries: the same verdict, guard band and outcome."""
    record = read_record(version / "reports" / name)
    for line in record.lines:
        if line.measurement.limit is None:
            assert line.judgement is None
            continue
        anew = judge(line.reading, line.measurement.limit, record.context.rule)  # type: ignore[arg-type]
        assert line.judgement is not None
        assert (line.judgement.verdict, line.judgement.guard) == (anew.verdict, anew.guard)
    if ran_through(record):
        assert facts["outcome"] == outcome_of(line.judgement for line in record.lines)
        assert facts["first_cause"] == first_cause(record.lines)


def ran_through(record: Record) -> bool:
    """The lines alone decided it: nothing stopped it, no map of a cable refused it, no waiver excused a line."""
    by_lines = record.closing.outcome in (Outcome.PASS, Outcome.FAIL, Outcome.DOUBTFUL)
    return by_lines and not record.context.waivers


@pytest.mark.parametrize("version", VERSIONS, ids=lambda version: version.name)
def test_what_is_kept_of_a_version_shows_every_outcome_and_kind(version: Path):
    """A version is kept for all that a reader may meet: outcomes, hosts, a waiver, a challenge, the chain's head."""
    reports = version / "reports"
    records = [read_record(reports / name) for name in expected(version)]
    assert set(Outcome) == {record.closing.outcome for record in records}
    kinds = {"board", "host"} if version.name in ("1", "2") else {"board", "host", "outlet"}
    assert kinds == {record.context.kind for record in records}
    waived = [record for record in records if record.context.waivers]
    assert waived
    assert all(record.context.waivers == read_waivers(reports, record.context.batch) for record in waived)
    assert list((reports / BATCH).glob("*.json"))
    assert list(reports.glob(".chain-*"))


@pytest.mark.parametrize("version", VERSIONS, ids=lambda version: version.name)
def test_the_chain_of_what_is_kept_is_whole(version: Path):
    """From the first record of the station to its head, each follows on one that is there."""
    reports = version / "reports"
    records = [read_record(reports / name) for name in expected(version)]
    links = {record.sha256: record.closing.previous_sha256 for record in records}
    others = [each for each in map(load, reports.glob("*/*.json")) if "previous_sha256" in each]
    links |= {each["sha256"]: each["previous_sha256"] for each in others}
    (head,) = map(load, reports.glob(".chain-*"))
    walked, at = 0, head["sha256"]
    while at != BEGINNING:
        at, walked = links[at], walked + 1
    assert walked == len(links)
    assert verify(reports).damage == ()


def load(path: Path) -> Any:
    """A JSON file."""
    return json.loads(path.read_text())


@pytest.mark.parametrize("version", VERSIONS, ids=lambda version: version.name)
def test_what_must_hold_is_what_was_written(version: Path):
    """The expected facts are those of the text itself, read without batchtest."""
    assert json.loads((version / "expected.json").read_text()) == expected(version)


def test_there_is_a_kept_record_of_every_version():
    """The present format too: it is kept before it can become an old one."""
    assert [version.name for version in VERSIONS] == [str(number) for number in range(1, FORMAT + 1)]


def test_a_record_of_a_format_to_come_is_not_misread(tmp_path: Path):
    """An old program says that it is too old, and makes nothing up."""
    source = OLD / "1" / "reports" / "spring" / "VN-0009.1.csv"
    for path in source.parent.glob("VN-0009.1.csv*"):
        shutil.copy(path, tmp_path)
    metadata = tmp_path / "VN-0009.1.csv-metadata.json"
    described = json.loads(metadata.read_text())
    described[BLOCK]["format"] = FORMAT + 1
    metadata.write_text(json.dumps(described))
    with pytest.raises(RecordError, match=r"is of format \d+, and this batchtest reads up to \d+; read it"):
        read_record(tmp_path / "VN-0009.1.csv")
