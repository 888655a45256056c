"""`batchtest bench`: who is on the bench, and whether it still refuses a wrong cable."""

from __future__ import annotations

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner, Result
from stations import ROOT

from batchtest.commands import exit_code, program
from batchtest.errors import NotProven, SetupError

#: Whole attempts: their lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover


@pytest.fixture(autouse=True)
def _in_the_demos_folder(monkeypatch: pytest.MonkeyPatch):
    monkeypatch.chdir(ROOT)


def bench(reports: Path, *arguments: str) -> Result:
    """Run the command; its errors are kept in the result."""
    wide = {"COLUMNS": "200"}
    return CliRunner().invoke(program, ["bench", *arguments, "--reports", str(reports)], env=wide)


def test_a_challenge_is_told_to_machines_and_kept_for_people(tmp_path: Path):
    """--json has instruments and challenge; without --challenge the last one is told, with its age."""
    done = bench(tmp_path, "--bench", "simulated", "--challenge", "--json", "--operator", "the one at the bench")
    assert (done.exit_code, done.stderr) == (0, "")
    found = json.loads(done.stdout)
    assert (found["bench"], found["station"], found["fixture"]) == ("simulated", "bench-1", "vent-nest")
    assert [each["role"] for each in found["instruments"]] == ["load", "supply", "meter", "scanner", "handler"]
    assert found["challenge_every_s"] == 7 * 86400
    challenge = found["challenge"]
    assert (challenge["passed"], challenge["cable"], challenge["wrong"]) == (True, "vent-lead", "mist-lead")
    assert challenge["told_by"] == "pin map spare"
    assert all((tmp_path / name).is_file() for name in challenge["records"])
    said = bench(tmp_path, "--bench", "simulated").stdout
    assert "bench-1, bench simulated, fixture vent-nest" in said
    meter = (
        r"meter +simulated meter SM-1 +meter-confread +90 d ago +120 min *\n"
        r" +Glasshouse Bench Works +firmware 1\.0 +275 d left +warm"
    )
    assert re.search(meter, said)
    assert re.search(r"scanner .* none needed +not asked", said)
    assert "mains 50 Hz, the meter goes by them" in said
    assert said.splitlines()[-1].startswith("challenge passed, just now: mist-lead was refused by its name from")


def test_a_bench_that_was_never_challenged_says_how_it_is_done(tmp_path: Path):
    """Nothing is challenged unasked."""
    said = bench(tmp_path, "--bench", "simulated").stdout
    assert said.splitlines()[-1] == "challenge not passed, never: batchtest bench --challenge"
    assert not (tmp_path / "challenges").exists()


def test_a_challenge_that_fails_is_a_refusal(tmp_path: Path):
    """The wrong lead in the drawer: exit code 4, and machines still get their object."""
    done = bench(tmp_path, "--bench", "simulated-wrong-cable", "--challenge", "--cable", "long-lead", "--json")
    assert isinstance(done.exception, NotProven)
    assert exit_code(done.exception) == 4
    assert str(done.exception).startswith(
        "the challenge has failed: long-lead was refused as it must be, but so was vent-lead after it: the cable reads"
    )
    challenge = json.loads(done.stdout)["challenge"]
    assert (challenge["passed"], challenge["wrong"], challenge["bench"]) == (
        False,
        "long-lead",
        "simulated-wrong-cable",
    )


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        pytest.param(("--bench", "lan"), r"which fixture stands on the bench\? say --fixture with one of", id="which"),
        pytest.param(("--bench", "simulatd"), "did you mean 'simulated'", id="bench"),
        pytest.param(("--bench", "simulated", "--fixture", "vent-nst"), "did you mean 'vent-nest'", id="fixture"),
        pytest.param(("--bench", "simulated", "--ambient", "23"), "--ambient has no unit", id="ambient"),
    ],
)
def test_an_argument_that_needs_mending_is_told(tmp_path: Path, arguments: tuple[str, ...], message: str):
    """Exit code 2; nothing is opened."""
    done = bench(tmp_path / "reports", *arguments)
    assert isinstance(done.exception, SetupError)
    assert re.search(message, str(done.exception))
    assert not (tmp_path / "reports").exists()
