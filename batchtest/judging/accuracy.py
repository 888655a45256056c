"""A data sheet's accuracy table: the row of a range, the range for a value, the half-width about a value."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

from batchtest.errors import SetupError
from batchtest.files.bench import AmperesAccuracy, OhmsAccuracy, VoltsAccuracy
from batchtest.quantities import show

#: A row of an accuracy table, whatever its unit (a diode row is a row in volts).
Row = VoltsAccuracy | AmperesAccuracy | OhmsAccuracy
AnyRow = TypeVar("AnyRow", bound=Row)

#: Kelvin on either side of the calibration temperature within which a data sheet holds as it stands (common practice,
#: no source).
HOLDS_WITHIN_K = 5.0


def row_for(rows: Sequence[AnyRow], range_: float) -> AnyRow:
    """The row of a range.

    Parameters
    ----------
    rows : the table of one function of one instrument.
    range_ : full scale of the range, base unit.

    Raises
    ------
    SetupError : no row is for this range; names those that are there.
    """
    for row in rows:
        if float(row.range) == range_:
            return row
    raise SetupError(f"no accuracy row for the range {_number(range_, rows)}; {_known(rows)}")


def pick_range(rows: Sequence[Row], value: float) -> float:
    """Full scale of the smallest range that holds `value`, base unit; the sign does not matter.

    Raises
    ------
    SetupError : the value is beyond the largest range; names those that are there.
    """
    holding = [float(row.range) for row in rows if float(row.range) >= abs(value)]
    if not holding:
        raise SetupError(f"no range holds {_number(value, rows)}; {_known(rows)}")
    return min(holding)


def half_width(row: Row, value: float, ambient_C: float, calibrated_at_C: float) -> float:
    """How far a value may be off, either side, base unit: `reading` x |value| + `of_range` x range.

    Outside the calibration temperature +-5 C the temperature coefficient is added for each kelvin beyond.
    """
    return gain_half_width(row, ambient_C, calibrated_at_C) * abs(value) + offset_half_width(
        row, ambient_C, calibrated_at_C
    )


def gain_half_width(row: Row, ambient_C: float, calibrated_at_C: float) -> float:
    """The share of `half_width` that grows with the value, as a ratio of it."""
    return float(row.reading) + _beyond_K(ambient_C, calibrated_at_C) * float(row.temperature.reading)


def offset_half_width(row: Row, ambient_C: float, calibrated_at_C: float) -> float:
    """The share of `half_width` that does not depend on the value, base unit."""
    of_range = float(row.of_range) + _beyond_K(ambient_C, calibrated_at_C) * float(row.temperature.of_range)
    return of_range * float(row.range)


def _beyond_K(ambient_C: float, calibrated_at_C: float) -> float:
    return max(0.0, abs(ambient_C - calibrated_at_C) - HOLDS_WITHIN_K)


def _unit(rows: Sequence[Row]) -> str:
    units = {VoltsAccuracy: "V", AmperesAccuracy: "A", OhmsAccuracy: "ohm"}
    return next((unit for kind, unit in units.items() if any(isinstance(row, kind) for row in rows)), "1")


def _number(value: float, rows: Sequence[Row]) -> str:
    return show(value, _unit(rows))


def _known(rows: Sequence[Row]) -> str:
    ranges = sorted(float(row.range) for row in rows)
    return f"known ranges: {', '.join(_number(full, rows) for full in ranges)}" if ranges else "the table is empty"
