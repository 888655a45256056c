"""What a person is told of an attempt is on the disk first: with a disk that fails anywhere, and a clock set back."""

from __future__ import annotations

import errno
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import datetime, timedelta, tzinfo
from pathlib import Path

import pytest
from stations import Stand, Watcher, stand
from test_records.failpoints import Failpoint, fail, failpoint

from batchtest.errors import OutputsNotOff, RecordError
from batchtest.nouns import Line, Phase, Role
from batchtest.pages import attempt_page
from batchtest.records.record import read_part, read_record
from batchtest.records.unfinished import close_unfinished
from batchtest.records.verify import verify
from batchtest.records.wall_clock import behind, set_back
from batchtest.sequencer import logbook


@pytest.fixture(scope="module")
def station(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stand]:
    """One station for all, whose disk is whole again after each."""
    with stand(tmp_path_factory.mktemp("station") / "reports") as made:
        (made.reports / "try").mkdir(parents=True)  # so that every board needs the same calls, whichever is first
        yield made


def failing(station: Stand, serial: str, at: int) -> tuple[str, Watcher]:
    """Test a board while the n-th call on the disk fails: what was said, and what was shown before."""
    station.watcher = Watcher()
    folder = station.reports / "try"
    with failpoint(Failpoint(folder, at, fail(errno.ENOSPC))), pytest.raises(RecordError) as error:
        station.test(serial)
    return str(error.value), station.watcher


@pytest.mark.parametrize(
    ("serial", "at", "shown", "more"),
    [
        pytest.param("VN-0011", 40, range(10, 30), [0], id="write-in-the-gate"),
        pytest.param("VN-0012", 281, range(120, 160), [1], id="sync-while-powered"),
    ],
)
def test_a_disk_that_fails_in_mid_board_is_said_at_once(station, serial, at, shown, more):
    """Nothing was shown that is not on the disk, no verdict is given, the outputs are off."""
    said, watcher = failing(station, serial, at)
    assert said.startswith(f"{serial} attempt 1 is not recorded; the board must not leave the bench: No space left")
    assert station.outputs_on == []
    assert len(watcher.lines) in shown
    kept = read_part(station.reports / "try" / f"{serial}.1.csv.part").lines
    assert list(kept[: len(watcher.lines)]) == watcher.lines
    assert len(kept) - len(watcher.lines) in more


def test_a_disk_that_fails_while_closing_gives_no_verdict_and_the_next_board_is_tested(station):
    """All lines are there and no record is; at the next start it is stopped, never passed; the chain goes on whole."""
    said, watcher = failing(station, "VN-0014", 347)
    assert said.startswith("VN-0014 attempt 1 is not recorded; the board must not leave the bench: No space left")
    assert not (station.reports / "try" / "VN-0014.1.csv").exists()
    (found,) = (found for found in close_unfinished(station.reports, "bench-1") if found.name == "try/VN-0014.1")
    assert found.attempt is not None
    assert (found.attempt.outcome, list(found.attempt.lines)) == ("stopped", watcher.lines)
    assert [attempt.outcome for attempt in station.test("VN-0015")] == ["pass"]
    assert verify(station.reports).damage == ()


def test_an_output_that_stays_on_is_said_though_the_disk_fails_too(tmp_path: Path):
    """Two troubles at once are both told: that the board is not recorded, and that it is live."""
    with ExitStack() as stack:
        stack.enter_context(pytest.raises(OutputsNotOff))  # the bench says so once more when it is left
        station = stack.enter_context(stand(tmp_path))

        def break_both(line: Line) -> None:
            if line.measurement.phase is Phase.LOAD:
                station.running.servers[Role.SUPPLY].stop()
                (tmp_path / "try").rename(tmp_path / "gone")

        station.watcher.on_line = break_both
        with pytest.raises(RecordError, match=r"(?s)VN-0001 attempt 1 is not recorded.*supply.*treat"):
            station.test("VN-0001")


class SetBack(datetime):
    """A wall clock that is set back by an hour at its hundredth look."""

    looks = 0

    @classmethod
    def now(cls, tz: tzinfo | None = None) -> datetime:  # type: ignore[override]
        """An hour less from then on."""
        cls.looks += 1
        return datetime.now(tz) - timedelta(hours=cls.looks >= 100)


def test_a_clock_set_back_in_mid_board_changes_no_duration_and_no_order(tmp_path, monkeypatch):
    """Lines keep their numbers and their monotonic times; by how much it was set back is told."""
    monkeypatch.setattr(logbook, "datetime", SetBack)
    with stand(tmp_path) as station:
        (attempt,) = station.test("VN-0001")
    record = read_record(tmp_path / attempt.record)
    assert attempt.outcome == "pass"
    assert [line.number for line in record.lines] == list(range(1, len(record.lines) + 1))
    elapsed = [line.elapsed_s for line in record.lines]
    assert elapsed == sorted(elapsed)
    assert 0 < attempt.duration_s < 60
    assert timedelta(minutes=59) < set_back(attempt.started, attempt.lines) <= timedelta(hours=1)
    page = attempt_page(record)
    assert "the computer&#39;s was set back by" in page
    assert behind(tmp_path, "bench-1", record.closing.ended - timedelta(hours=1)) == timedelta(hours=1)
    assert behind(tmp_path, "bench-1", record.closing.ended) == timedelta()
