"""Waivers for the tests: the id resistor of a lead broke off."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

from batchtest.nouns import Waiver

WRITTEN = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
WAIVER = Waiver(
    number=0,
    batch="spring-1",
    station="bench-1",
    bench="simulated",
    board="vent",
    fixture="vent-nest",
    cable="vent-lead",
    readings=("id resistor of vent-lead",),
    people=("K. Ahn", "M. Osei"),
    reason="the resistor in the hood broke off; continuity checked by hand",
    written=WRITTEN,
    expires=WRITTEN + timedelta(days=12),
)


def a_waiver(**changes: object) -> Waiver:
    """A waiver that can be written, with some of it changed."""
    return replace(WAIVER, **changes)  # type: ignore[arg-type]
