"""Until when a calibration holds."""

from __future__ import annotations

from datetime import date
from typing import Any

import pytest

from batchtest.files.bench import Instrument, Meter, Scanner
from batchtest.files.calibration import calibration_fault, days_left

ROW = {"range": "10 V", "reading": "0.01 %", "of_range": "0.002 %"}
OHMS = {**ROW, "range": "1 kohm", "current": "1 mA"}
IDENTITY = {"maker": "Glasshouse Bench Works", "model": "meter", "serial": "S-1"}
TODAY = date(2026, 6, 1)


def meter(valid_for: str | None = None, **keys: Any) -> Instrument:
    """A meter with these dates."""
    row = ROW if valid_for is None else {**ROW, "valid_for": valid_for}
    accuracy = {"volts_dc": [row], "ohms": [OHMS]}
    return Meter.model_validate({"dialect": "meter-confread", "identity": IDENTITY, "accuracy": accuracy, **keys})


@pytest.mark.parametrize(
    ("keys", "left"),
    [
        pytest.param({"calibrated": date(2026, 1, 1), "due": date(2026, 6, 1)}, 0, id="due-today"),
        pytest.param({"calibrated": date(2026, 1, 1), "due": date(2026, 5, 30)}, -2, id="overdue"),
        pytest.param({"calibrated": date(2026, 5, 1), "valid_for": "90 d"}, 59, id="rows-alone"),
        pytest.param(
            {"calibrated": date(2026, 5, 1), "due": date(2027, 5, 1), "valid_for": "24 h"}, -30, id="rows-first"
        ),
        pytest.param({"calibration_age": "90 d", "valid_for": "365 d"}, 275, id="simulated"),
        pytest.param({"calibration_age": "400 d", "valid_for": "365 d"}, -35, id="simulated-too-old"),
        pytest.param({}, None, id="nothing-known"),
    ],
)
def test_the_earlier_of_due_day_and_age_counts(keys: dict[str, Any], left: float | None) -> None:
    """The due day is the last good one; beyond its age an accuracy row says nothing."""
    assert days_left(meter(**keys), TODAY) == left


@pytest.mark.parametrize(
    ("keys", "message"),
    [
        pytest.param({"due": date(2026, 5, 30)}, "meter: its calibration is out of date by 2 d; have it", id="overdue"),
        pytest.param({}, "meter: nothing says when it was calibrated; write calibrated and due", id="nothing-known"),
        pytest.param(
            {"calibrated": date(2026, 7, 1)}, "meter: calibrated 2026-07-01, which is yet to come", id="future"
        ),
    ],
)
def test_what_does_not_count_says_the_cure(keys: dict[str, Any], message: str) -> None:
    """A person knows what to do next."""
    assert (calibration_fault("meter", meter(**keys), TODAY) or "").startswith(message)


def test_what_holds_and_what_needs_none_have_no_fault() -> None:
    """Relays have no calibration."""
    assert calibration_fault("meter", meter(due=TODAY), TODAY) is None
    scanner = Scanner.model_validate({"dialect": "scanner-routclos", "identity": IDENTITY})
    assert calibration_fault("scanner", scanner, TODAY) is None
