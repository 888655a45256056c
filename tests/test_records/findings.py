"""Findings for the tests: a divider's resistor is open, or the joint of it."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime

from batchtest.records.finding import Finding, Likely, Probed

FINDING = Finding(
    number=0,
    batch="spring-1",
    serial="VN-0001",
    station="bench-1",
    about="spring-1/VN-0001.1.csv",
    about_sha256="ab" * 32,
    causes=(
        Likely(faults=("R5B open",), parts=("R5B",), probability=0.75, words="R5B is open"),
        Likely(faults=("R5A short", "R5A missing"), parts=("R5A",), probability=0.125, words="R5A is wrong"),
    ),
    unknown=0.0625,
    says="logic-reversed reads 309.96 ohm, not 284.0 ohm",
    advice="change R5B",
    next="TP7 to TP1, powered off: ohms",
    table_sha256="cd" * 32,
    software="batchtest 0.1.0",
    probed=(Probed(point="TP7", value=4.9, unit="V", state="load point 1"),),
    learned=("winter-4/note.2.json",),
    written=datetime(2026, 3, 3, 9, 30, tzinfo=UTC),
)


def a_finding(**changes: object) -> Finding:
    """A finding that can be written, with some of it changed."""
    return replace(FINDING, **changes)  # type: ignore[arg-type]
