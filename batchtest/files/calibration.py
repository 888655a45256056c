"""Until when an instrument's calibration holds: its due day, and the age up to which its accuracy rows are valid."""

from __future__ import annotations

from datetime import date, timedelta

from batchtest.files.bench import Instrument, Load, Meter, Supply

_DAY_S = 86400.0


def must_be_calibrated(instrument: Instrument) -> bool:
    """Whether readings or settings of it go into an uncertainty; relays and handlers have no calibration."""
    return isinstance(instrument, Meter | Load | Supply)


def days_left(instrument: Instrument, today: date) -> float | None:
    """Days until the calibration is out of date, below zero where it is; `None` where nothing says when it was made.

    The earlier of the due day and the end of what its accuracy rows are valid for counts; the due day is the last good
    one. A simulated instrument has an age in place of dates, so that no file of it ever goes stale.
    """
    valid_d = _valid_d(instrument)
    left: list[float] = []
    if instrument.due is not None:
        left.append((instrument.due - today) / timedelta(days=1))
    if instrument.calibrated is not None and valid_d is not None:
        left.append((instrument.calibrated - today) / timedelta(days=1) + valid_d)
    if instrument.calibration_age is not None:
        left.append((valid_d or float("inf")) - float(instrument.calibration_age) / _DAY_S)
    return min(left, default=None)


def calibration_fault(role: str, instrument: Instrument, today: date) -> str | None:
    """Why an instrument's calibration does not count, and the cure; `None` where it does, or where it needs none."""
    if not must_be_calibrated(instrument):
        return None
    left = days_left(instrument, today)
    if instrument.calibrated is not None and instrument.calibrated > today:
        return (
            f"{role}: calibrated {instrument.calibrated}, which is yet to come; mend the date, or this computer's clock"
        )
    if left is None:
        return f"{role}: nothing says when it was calibrated; write calibrated and due from its certificate"
    if left < 0:
        return f"{role}: its calibration is out of date by {-left:.0f} d; have it calibrated and write the new dates"
    return None


def _valid_d(instrument: Instrument) -> float | None:
    """The shortest age, in days, that a row of its accuracy table is valid for."""
    tables = getattr(instrument, "accuracy", None)
    rows = [row for name in type(tables).model_fields for row in getattr(tables, name)] if tables is not None else []
    return min((float(row.valid_for) / _DAY_S for row in rows if row.valid_for is not None), default=None)
