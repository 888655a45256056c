"""Prints of certificates for the tests."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from batchtest.records.prints import Print


def a_print(**changes: Any) -> Print:
    """A print that is wanted."""
    wanted: dict[str, Any] = {
        "number": 0,
        "batch": "spring-1",
        "station": "bench-1",
        "serial": "VN-0001",
        "attempt": 1,
        "printed": datetime(2026, 4, 1, 10, 30, tzinfo=UTC),
        "by": "K. Ahn",
        "workshop": "Glasshouse Controls",
        "software": "batchtest 0.1.0",
        "record_sha256": "3c" * 32,
    }
    return Print(**(wanted | changes))


def pdf_of(known: Print) -> bytes:
    """What stands for a PDF here."""
    return f"print {known.number} after {known.head_sha256}".encode()
