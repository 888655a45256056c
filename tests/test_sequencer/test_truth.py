"""Many boards against what they truly are, as the circuit and the limits say it without the sequencer."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator, Sequence
from decimal import Decimal
from pathlib import Path

import pytest
from stations import ROOT, Stand, demo_setup, stand

from batchtest.files.library import load_setup
from batchtest.nouns import Outcome, Phase
from batchtest.simulated import BoardTruth, truth

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

MEMORY = Path("/dev/shm")


@pytest.fixture
def reports() -> Iterator[Path]:
    """A folder in memory where there is one: so many synced lines wait longer for a disk than for the boards."""
    with tempfile.TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else None) as folder:
        yield Path(folder)


def disagreements(station: Stand, boards: Sequence[BoardTruth]) -> list[str]:
    """Boards whose outcome is not what they are; no board may pass that must not, or be kept that must pass.

    A bad board may be refused, unpowered, for reading like a fault of the cable: but only where no board was proven
    just before it. The batch is begun again after it.
    """
    found = []
    for board in boards:
        trusted = station.station.memory.proven
        attempt = next(station.attempts([board.serial]))
        passed = attempt.outcome is Outcome.PASS
        unpowered = {line.measurement.phase for line in attempt.lines} == {Phase.GATE}
        odd = attempt.outcome is Outcome.REFUSED and unpowered and not trusted and board.must != "pass"
        known = odd or attempt.outcome in (Outcome.PASS, Outcome.FAIL, Outcome.DOUBTFUL)
        if not known or (board.must == "pass" and not passed) or (board.must == "not-pass" and passed):
            found.append(
                f"{attempt.serial} ({board.fault}) must {board.must}: {attempt.outcome}: {attempt.first_cause}"
            )
    return found


def test_the_demo_batch_agrees_with_the_truth(reports: Path):
    """README's twenty boards come out as they are, the bad ones among them."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    with stand(reports, setup) as station:
        boards = truth(setup, station.procedure, [f"VN-{number:04}" for number in range(1, 21)])
        assert disagreements(station, boards) == []
    assert {board.must for board in boards} >= {"pass", "not-pass"}


def test_random_boards_agree_with_the_truth(reports: Path):
    """Of boards of which a third has a random fault each, no outcome contradicts what the board is."""
    setup = demo_setup(defect_rate=Decimal("0.33"))
    with stand(reports, setup) as station:
        boards = truth(setup, station.procedure, [f"VN-{number}" for number in range(1001, 1009)])
        assert disagreements(station, boards) == []


def test_another_bench_with_other_errors_agrees_too(reports: Path):
    """Gain, offset and noise of other instruments inside the same accuracy tables do not change the outcome."""
    setup = demo_setup(defect_rate=Decimal("0.5"), seed=77)
    with stand(reports, setup) as station:
        boards = truth(setup, station.procedure, [f"VN-{number}" for number in range(3001, 3005)])
        assert disagreements(station, boards) == []
