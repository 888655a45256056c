"""`batchtest gather`: what was written, what was left and why, and the exit code."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from test_records.contexts import CONTEXT, closed

from batchtest.commands import program
from batchtest.errors import SetupError
from batchtest.records.journal import Journal


def run(folder: Path, *arguments: str) -> Result:
    """Run the command in a folder."""
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        return CliRunner().invoke(program, ["gather", *arguments])


def test_every_batch_is_told_and_summed(tmp_path: Path):
    """Written ones with their file, open ones with the reason; a second run has nothing to write."""
    closed(tmp_path / "reports", batch="done")
    with Journal.claim(tmp_path / "reports", replace(CONTEXT, batch="busy")):
        pass
    first, second = run(tmp_path), run(tmp_path)
    assert (first.exit_code, second.exit_code) == (0, 0)
    assert first.stdout.splitlines() == [
        "busy: left for the next run, begun and not closed: VN-0001.1",
        "done: 1 record, 2 lines -> reports/done/readings.parquet",
        "2 batches: 1 gathered, 0 unchanged, 1 open, 0 held back; 0 records left out",
    ]
    assert second.stdout.splitlines()[1:] == [
        "2 batches: 0 gathered, 1 unchanged, 1 open, 0 held back; 0 records left out"
    ]


def test_a_record_left_out_is_named_and_makes_the_exit_code_one(tmp_path: Path):
    """In words and for a machine."""
    record = tmp_path / closed(tmp_path).record
    record.write_bytes(record.read_bytes()[:-9])
    done = run(tmp_path, str(tmp_path))
    assert done.exit_code == 1
    assert "spring-1: LEFT OUT VN-0001.1.csv: " in done.stdout
    found = json.loads(run(tmp_path, str(tmp_path), "--json").stdout)
    assert list(found["batches"][0]["left_out"]) == ["VN-0001.1.csv"]


def test_a_batch_held_back_makes_the_exit_code_two(tmp_path: Path):
    """Two places with one station's name: a person must decide, and the rest is gathered."""
    closed(tmp_path / "here")
    closed(tmp_path / "there", "VN-0002")
    closed(tmp_path / "there", "VN-0002", batch="other")
    assert run(tmp_path, "here", "--to", "all").exit_code == 0
    done = run(tmp_path, "there", "--to", "all")
    assert done.exit_code == 2
    assert "spring-1: HELD BACK, what was gathered before holds VN-0001.1" in done.stdout
    assert "2 batches: 1 gathered, 0 unchanged, 0 open, 1 held back" in done.stdout


def test_one_batch_alone_can_be_gathered(tmp_path: Path):
    """By its own folder."""
    closed(tmp_path, batch="one")
    closed(tmp_path, batch="two")
    done = run(tmp_path, "two")
    assert done.stdout.startswith("two: 1 record, 2 lines -> two/readings.parquet\n")
    assert not (tmp_path / "one" / "readings.parquet").exists()


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("nowhere",), "there is no folder nowhere; name the folder of the records", id="folder"),
        pytest.param((), "there is no folder reports", id="default"),
        pytest.param((".", "--to", "s4://x"), "'s4://x': ", id="url"),
    ],
)
def test_what_needs_mending_is_said(tmp_path: Path, arguments: tuple[str, ...], message: str):
    """Before anything is written."""
    done = run(tmp_path, *arguments)
    assert isinstance(done.exception, SetupError)
    assert message in str(done.exception)
