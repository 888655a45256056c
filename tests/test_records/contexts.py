"""Contexts, lines and journals for the tests of this room."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from batchtest.nouns import (
    Attempt,
    Context,
    InstrumentIdentity,
    Judgement,
    Limit,
    Line,
    Measurand,
    Measurement,
    Outcome,
    Phase,
    Reading,
    Role,
    Verdict,
)
from batchtest.records.journal import Journal

STARTED = datetime(2026, 3, 2, 8, 15, tzinfo=UTC)

CONTEXT = Context(
    board="vent",
    board_revision="B",
    batch="spring-1",
    serial="VN-0001",
    attempt=0,
    station="bench-1",
    operator="the one at the bench",
    fixture="vent-nest",
    cable="vent-lead",
    bench="simulated",
    simulated=True,
    ambient_C=23.5,
    rule="guarded",
    limits_sources={"logic": "data sheet of the display"},
    file_hashes={"limits/vent.toml": "ab" * 32},
    software="batchtest 0.1.0",
    instruments=(
        InstrumentIdentity(
            role=Role.METER,
            maker="Glasshouse Bench Works",
            model="simulated meter",
            serial="SM-1",
            firmware="1.0",
            address="TCPIP0::127.0.0.1::5025::SOCKET",
            dialect="meter-confread",
            calibrated=date(2026, 3, 1),
        ),
    ),
    started=STARTED,
)

MEASUREMENT = Measurement(
    name="logic @ load point 2",
    phase=Phase.LOAD,
    point="logic",
    measurand=Measurand.VOLTAGE,
    unit="V",
    range=10.0,
    limit=Limit(lower=4.75, upper=5.25, source="data sheet of the display"),
    abort=Limit(upper=5.6, source="abort bound"),
    load_point=1,
    load_A=0.02,
    expected=5.01,
    settle_s=0.004,
)


def a_line(number: int = 1, *, raw: str = "+4.98000000E+00", value: float = 4.98) -> Line:
    """A line of a record, one second after the other."""
    return Line(
        number=number,
        time=STARTED + timedelta(seconds=number),
        elapsed_s=float(number),
        measurement=MEASUREMENT,
        reading=Reading(value=value, unit="V", spread=1e-4, count=3, uncertainty=0.0011, raw=raw, nplc=1.0),
        judgement=Judgement(verdict=Verdict.PASS, guard=0.0011, why="inside"),
    )


def closed(
    reports: Path, serial: str = "VN-0001", outcome: Outcome = Outcome.PASS, cause: str | None = None, **context: object
) -> Attempt:
    """An attempt with two lines, closed."""
    with Journal.claim(reports, replace(CONTEXT, serial=serial, **context)) as journal:  # type: ignore[arg-type]
        journal.write(a_line(1))
        journal.write(a_line(2))
        return close(journal, outcome, cause)


def close(journal: Journal, outcome: Outcome = Outcome.PASS, cause: str | None = None) -> Attempt:
    """Close a journal after a minute and a half."""
    ended = STARTED + timedelta(seconds=90)
    return journal.close(outcome, cause, ended=ended, duration_s=90.25, proof=("id resistor", "feed resistance"))
