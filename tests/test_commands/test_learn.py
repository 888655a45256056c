"""`batchtest bench --learn`: on the screen, for machines, and as a file that a bench can name at once."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from dialects import in_styles
from stations import demo_setup

from batchtest.bench.dialect import LoadDialect, load_dialect
from batchtest.clock import VirtualClock
from batchtest.commands import program
from batchtest.errors import BenchError, SetupError
from batchtest.nouns import Role
from batchtest.simulated import start_bench


@pytest.fixture
def address(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[str]:
    """Where a load in whole numbers is; the project's folder is empty."""
    monkeypatch.chdir(tmp_path)
    with start_bench(in_styles(demo_setup(transport="tcp"), "load-integers"), VirtualClock()) as running:
        yield running.addresses[Role.LOAD]


def learn(*arguments: str) -> Result:
    """Run the command on a load; its errors are kept in the result."""
    return CliRunner().invoke(program, ["bench", "--learn", "load", *arguments], env={"COLUMNS": "160"})


def test_it_says_what_was_understood_and_prints_the_file(address: str) -> None:
    """The styles with how many of their questions were answered, and below the beginning of the file."""
    done = learn("--address", address)
    assert done.exit_code == 0, done.stderr
    assert "Glasshouse Bench Works,simulated load,SL-1,1.0" in done.stdout
    assert "load-integers  10 of 10" in done.stdout
    assert 'set = "SET{channel}:A {amperes}"' in done.stdout
    assert not Path("fixtures").exists()


def test_it_writes_the_file_under_a_name(address: str) -> None:
    """Which loads as a dialect of this project; a second time the name is taken."""
    done = learn("--address", address, "--name", "load-hall", "--json")
    found = json.loads(done.stdout)
    assert (found["ending"], found["candidates"][0]["name"]) == ("LF", "load-integers")
    assert Path("fixtures/dialects/load-hall.toml").read_text() == found["draft"]
    assert load_dialect("load-hall", LoadDialect).level.scale == 10000
    again = learn("--address", address, "--name", "load-hall")
    assert isinstance(again.exception, SetupError)
    assert "is there already; take another name" in str(again.exception)


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param([], "which instrument\\? say --address", id="no-address"),
        pytest.param(["--address", "hall"], "--address 'hall' is no VISA resource name", id="address"),
        pytest.param(["--name", "load-modes"], "is a shipped dialect; take another", id="shipped"),
        pytest.param(["--name", "../x"], "is no name; use letters", id="name"),
    ],
)
def test_a_slip_is_refused_before_anything_is_asked(address: str, arguments: list[str], message: str) -> None:
    """Nothing is opened for a name that cannot be used."""
    given = [] if message.startswith("which") or "--address" in arguments else ["--address", address]
    done = learn(*given, *arguments)
    assert isinstance(done.exception, SetupError)
    with pytest.raises(SetupError, match=message):
        raise done.exception


def test_nobody_there_is_a_bench_fault(address: str) -> None:
    """Exit code 3: check power and lead."""
    done = learn("--address", "TCPIP0::127.0.0.1::9::SOCKET")
    assert isinstance(done.exception, BenchError)


def test_without_a_bench_the_command_asks_for_one() -> None:
    """Only learning needs no bench file."""
    done = CliRunner().invoke(program, ["bench"])
    assert isinstance(done.exception, SetupError)
    assert str(done.exception) == "which bench? say --bench with the name of its file; or --find"
