"""Faults of the bench in mid-batch: never a wrong verdict, outputs off, and the next board is tested rightly."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from stations import demo_setup, stand

from batchtest.errors import BenchError
from batchtest.files.bench_faults import BenchFault
from batchtest.nouns import Attempt, Outcome, Phase, Role

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

#: Name -> the fault, and what the stopped attempt gives as its cause.
FAULTS: dict[str, tuple[dict[str, Any], str]] = {
    "no-terminator": ({"role": "meter", "kind": "no terminator", "message": "READ?", "at": 100}, "no whole reply"),
    "garbage": ({"role": "supply", "kind": "garbage", "message": "MEAS*", "at": 3}, "supply: "),
    "non-ascii": ({"role": "meter", "kind": "non-ASCII", "message": "READ?", "at": 30}, "is not ASCII"),
    "dropped": ({"role": "load", "kind": "dropped connection", "message": "INP ON*", "at": 2}, "connection lost"),
    "restart": ({"role": "supply", "kind": "silent restart", "message": "MEAS:CURR*", "at": 4}, "supply: is off"),
    "relays": ({"role": "scanner", "kind": "silent restart", "message": "ROUT:CLOS:STAT?", "at": 30}, "scanner: "),
    "queue": ({"role": "meter", "kind": "error in the queue", "message": "READ?", "at": 20}, "in its queue"),
    "ignored": ({"role": "supply", "kind": "ignored command", "message": "VOLT 12", "at": 1}, "and holds 5.000 V"),
    "clipped": ({"role": "load", "kind": "clipped set-point", "message": "CURR 0.04*", "at": 1}, "and holds 20.00 mA"),
    "trip": ({"role": "load", "kind": "protection trip", "message": "CURR? (@3)", "at": 4}, "protection"),
    "dropped-input": (
        {"role": "load", "kind": "input dropped", "message": "INP?*CURR*", "at": 3},
        "load channel 1: is off",
    ),
    "key": (
        {"role": "supply", "kind": "front-panel key", "message": "MEAS:VOLT?", "at": 3, "text": "VOLT 25"},
        "touched",
    ),
    "function": (
        {"role": "meter", "kind": "front-panel key", "message": "READ?", "at": 9, "text": "CONF:RES"},
        "meter: ",
    ),
}


def befall(tmp_path: Path, told: dict[str, Any], serial: str = "VN-0001", **boards: str) -> tuple[Attempt, Attempt]:
    """Test a board while a fault strikes, and another board when the bench was brought back."""
    with stand(tmp_path, demo_setup({name.replace("_", "-"): fault for name, fault in boards.items()})) as station:
        station.running.instruments.by_role()[Role(told["role"])].faults.add(BenchFault.model_validate(told))
        attempts = station.attempts([serial])
        attempt = next(attempts)
        assert station.outputs_on == []
        station.running.instruments.by_role()[Role(told["role"])].faults.clear()
        try:
            next(attempts, None)
        except BenchError:
            station.station.bench.bring_back()
        (after,) = station.test("VN-0009")
        assert station.outputs_on == []
        return attempt, after


@pytest.mark.parametrize(("told", "cause"), FAULTS.values(), ids=FAULTS)
def test_a_fault_of_the_bench_stops_the_attempt_and_is_named(tmp_path: Path, told: dict[str, Any], cause: str) -> None:
    """The board is not judged, the outputs are off, and the next board passes."""
    attempt, after = befall(tmp_path, told)
    assert attempt.outcome is Outcome.STOPPED
    assert cause in (attempt.first_cause or "")
    assert after.outcome is Outcome.PASS


def test_a_stale_reading_is_asked_for_anew(tmp_path: Path) -> None:
    """The meter hands out its last reply once more: it is not taken for a reading of the next point."""
    told = {"role": "meter", "kind": "stale value", "message": "READ?", "at": 25}
    attempt, _ = befall(tmp_path, told)
    clean, _ = befall(tmp_path / "clean", {**told, "at": 100_000})
    assert attempt.outcome is Outcome.PASS
    for line, other in zip(attempt.lines, clean.lines, strict=True):
        found, right = line.reading, other.reading
        assert (found.value is None) is (right.value is None)
        if found.value is not None and right.value is not None and line.measurement.phase is Phase.GATE:
            doubt = (found.uncertainty or 0.0) + (right.uncertainty or 0.0)
            assert found.value == pytest.approx(right.value, abs=2 * doubt + 0.02), line.measurement.name


def test_a_meter_that_only_repeats_itself_stops(tmp_path: Path) -> None:
    """It cannot answer with another number of values."""
    attempt, _ = befall(tmp_path, {"role": "meter", "kind": "stale value", "message": "READ?", "every": 1})
    assert attempt.outcome is Outcome.STOPPED
    assert "values, " in (attempt.first_cause or "")


def test_a_shorted_board_is_not_saved_by_a_false_over_range(tmp_path: Path) -> None:
    """Whichever of its cold readings the meter calls open, the board with a short never passes."""
    for at in (70, 85, 95):
        told = {"role": "meter", "kind": "over-range", "message": "READ?", "at": at}
        attempt, _ = befall(tmp_path / str(at), told, "VN-0003", VN_0003="RL5 short")
        assert attempt.outcome is not Outcome.PASS


def test_limits_forgotten_in_the_gate_are_seen_before_power(tmp_path: Path) -> None:
    """A load that restarted while nothing was on has its settings, and its protection, at their highest."""
    with stand(tmp_path) as station:
        told = BenchFault(role="load", kind="front-panel key", message="INP?*", at=40, text="*RST")
        station.running.instruments.load.faults.add(told)
        attempt = next(station.attempts(["VN-0001"]))
        assert attempt.outcome is Outcome.STOPPED
        assert "load channel 1: holds" in (attempt.first_cause or "")
        assert not station.was_powered
