"""Accuracy tables for the tests of this room, in the words of a bench file."""

from __future__ import annotations

from typing import Any

from batchtest.files.bench import AmperesAccuracy, OhmsAccuracy, VoltsAccuracy


def volts(**keys: Any) -> VoltsAccuracy:
    """A row in volts."""
    return VoltsAccuracy.model_validate({"range": "10 V", "reading": "0.01 %", "of_range": "0.002 %", **keys})


def amperes(**keys: Any) -> AmperesAccuracy:
    """A row in amperes."""
    return AmperesAccuracy.model_validate({"range": "3 A", "reading": "0.1 %", "of_range": "0.05 %", **keys})


def ohms(**keys: Any) -> OhmsAccuracy:
    """A row in ohms."""
    row = {"range": "1 kohm", "reading": "0.01 %", "of_range": "0.001 %", "current": "1 mA", **keys}
    return OhmsAccuracy.model_validate(row)
