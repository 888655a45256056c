"""A station that is killed, wherever it is: every line it was told was safe is there, and nothing is torn or half."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

TESTS = Path(__file__).parents[1]


def killed(folder: Path, how: str, lines: int) -> dict[str, int]:
    """Kill real processes at every point of an attempt, and say what was found."""
    done = subprocess.run(
        [sys.executable, "-m", "test_records.dying", str(folder), how, str(lines)],
        cwd=TESTS,
        env={**os.environ, "PYTHONPATH": os.pathsep.join((str(TESTS), str(TESTS.parent)))},
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert (done.returncode, done.stderr) == (0, "")
    found: dict[str, int] = json.loads(done.stdout)
    return found


@pytest.mark.parametrize(
    ("how", "lines", "kills"),
    [
        pytest.param("lines", 8, range(10, 11), id="by-another-process-at-every-line"),
        pytest.param("calls", 1, range(40, 200), id="at-every-call-on-the-disk-and-in-every-write"),
        pytest.param("power", 1, range(40, 200), id="with-the-power-cut-and-all-that-was-not-synced-gone"),
    ],
)
def test_nothing_is_lost_and_nothing_is_torn(tmp_path, how, lines, kills):
    """`kill -9` between the claim and the summary: what was cut short is closed as stopped at the next start, the chain
    holds, the next attempt works, and no board is taken for passed that nobody was told has passed.
    """
    found = killed(tmp_path, how, lines)
    assert (found["lost"], found["torn"], found["half_passes"]) == (0, 0, 0)
    assert found["kills"] in kills
    assert found["stopped"] > lines
