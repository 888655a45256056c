"""Example records for the tests of the pages: a vent board as a healthy and as a sick one would read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

from batchtest.nouns import (
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
from batchtest.records.batch import BatchSummary, cause_name, exact_yield
from batchtest.records.journal import Journal
from batchtest.records.metadata import Closing
from batchtest.records.record import Record

STARTED = datetime(2026, 3, 14, 9, 12, 5, tzinfo=UTC)
SOURCE = "data sheet of the vent motor driver"


def context(**changes: object) -> Context:
    """What a record says besides its lines."""
    role = {Role.METER: "SM-1", Role.LOAD: "SL-1", Role.SUPPLY: "SS-1", Role.SCANNER: "SC-1"}
    instruments = tuple(
        InstrumentIdentity(
            role=name,
            maker="Glasshouse Bench Works",
            model=f"simulated {name.value}",
            serial=serial,
            firmware="1.0",
            address="TCPIP0::127.0.0.1::5025::SOCKET",
            dialect=f"{name.value}-plain",
            calibrated=date(2025, 11, 3) if name is Role.METER else None,
            due=date(2026, 11, 3) if name is Role.METER else None,
            calibration_age_d=365.0 if name is not Role.METER else None,
        )
        for name, serial in role.items()
    )
    known = Context(
        board="vent",
        board_revision="B",
        batch="2026-11-A",
        serial="VN-0001",
        attempt=1,
        station="bench-1",
        operator="K. Ahn",
        fixture="vent-nest",
        cable="vent-lead",
        bench="simulated",
        simulated=True,
        ambient_C=23.0,
        rule="guarded",
        limits_sources={"analog": SOURCE, "logic": SOURCE, "core": "the circuit and its part tolerances"},
        file_hashes={"limits/vent.toml": "5f" * 32, "fixtures/vent-nest.toml": "a0" * 32},
        software="batchtest 0.1.0",
        instruments=instruments,
        started=STARTED,
    )
    return replace(known, **changes)


def judged(value: float | None, limit: Limit | None, U: float) -> Judgement | None:
    """The guarded rule, short: enough for examples."""
    if limit is None:
        return None
    if value is None:
        return Judgement(verdict=Verdict.UNREAD, guard=U, why="no reading came")
    lower = float("-inf") if limit.lower is None else limit.lower
    upper = float("inf") if limit.upper is None else limit.upper
    if not lower <= value <= upper:
        return Judgement(
            verdict=Verdict.FAIL, guard=U, why="above the upper limit" if value > upper else "below the lower limit"
        )
    if lower + U <= value <= upper - U:
        return Judgement(verdict=Verdict.PASS, guard=U)
    return Judgement(verdict=Verdict.DOUBTFUL, guard=U, why="inside the limits by less than U")


def line(
    name: str,
    value: float | None,
    *,
    phase: Phase = Phase.LOAD,
    point: str = "logic",
    measurand: Measurand = Measurand.VOLTAGE,
    unit: str = "V",
    lower: float | None = None,
    upper: float | None = None,
    U: float = 0.0004,
    beyond: float | None = None,
    **more: object,
) -> Line:
    """One line of a record."""
    limit = Limit(lower=lower, upper=upper, source=SOURCE) if (lower, upper) != (None, None) else None
    measurement = Measurement(
        name=name, phase=phase, point=point, measurand=measurand, unit=unit, range=10.0, limit=limit, **more
    )
    reading = Reading(value=value, unit=unit, beyond=beyond, count=3, uncertainty=None if value is None else U)
    judgement = Judgement(verdict=Verdict.PASS, guard=0.0) if beyond is not None else judged(value, limit, U)
    return Line(number=1, time=STARTED, elapsed_s=0.0, measurement=measurement, reading=reading, judgement=judgement)


def gate() -> Iterator[Line]:
    """Everything before power: contact, zeros, id, cold checks."""
    points = {"feed": 24.0, "analog": 12.0, "logic": 5.0, "core": 3.3, "bias": -2.4, "id": 0.0}
    volts = {"phase": Phase.GATE, "U": 0.0011}
    ohms = {"phase": Phase.GATE, "unit": "ohm"}
    yield line("reference before", 5.00012, point="reference", lower=4.99, upper=5.01, **volts)
    for when in ("before discharge", "after rest"):
        for number, point in enumerate(points):
            yield line(f"residual {point} {when}", 0.0003 * number, point=point, lower=-0.05, upper=0.05, **volts)
        if when == "before discharge":
            for number, terminal in enumerate(("host.2", "host.7", "TP4", "TP1", "TP3", "TP5", "TP6", "host.8")):
                yield line(
                    f"contact {terminal} ({201 + number})", 0.21 + number / 50, point=terminal,
                    measurand=Measurand.CONTACT, upper=5.0, U=0.012, **ohms,
                )  # fmt: skip
    yield line("reference after", 5.00009, point="reference", lower=4.99, upper=5.01, **volts)
    kind = {"measurand": Measurand.RESISTANCE, **ohms}
    yield line("id resistor of vent-lead", 1000.4, point="id", lower=980.0, upper=1020.0, U=0.25, **kind)
    yield line("feed-short", None, point="feed", lower=900.0, beyond=1e5, U=0.2, **kind)
    yield line("logic-short", 1843.2, point="logic", lower=900.0, U=0.6, **kind)
    yield line("core-short", 1204.7, point="core", lower=400.0, upper=2500.0, U=0.5, **kind)
    diode = {"measurand": Measurand.DIODE, "phase": Phase.GATE, "unit": "V"}
    yield line("feed-diode", 0.5713, point="feed", lower=0.4, upper=0.8, U=0.0012, **diode)


def soft_start() -> Iterator[Line]:
    """The windows of each step of power-up."""
    for volts, share in ((5.0, 0.1), (12.0, 0.6), (24.0, 1.0)):
        amperes = 0.045 * share
        yield line(
            f"supply current @ {volts:.2f} V in", amperes, phase=Phase.SOFT_START, point="", unit="A",
            measurand=Measurand.CURRENT, lower=amperes * 0.8, upper=amperes * 1.25, U=0.0004,
        )  # fmt: skip
        for point, nominal in (("analog", 12.0), ("logic", 5.0), ("core", 3.3), ("bias", -2.4)):
            value = nominal * share
            yield line(
                f"{point} @ {volts:.2f} V in", value * 1.01, phase=Phase.SOFT_START, point=point,
                lower=value - abs(value) * 0.06, upper=value + abs(value) * 0.06,
            )  # fmt: skip


def loads(logic_V: float = 5.021) -> Iterator[Line]:
    """The rails at no, half and full load."""
    for index in range(3):
        for point, nominal, drop, load_A in (
            ("analog", 12.1, 0.18, 0.02),
            ("logic", logic_V, 0.021, 0.02),
            ("core", 3.36, 0.07, 0.01),
            ("bias", -2.4, 0.1, None),
        ):
            rated = {"analog": 12.0, "logic": 5.0, "core": 3.3, "bias": -2.4}[point]
            yield line(
                f"{point} @ load point {index + 1}", nominal - drop * index, point=point,
                lower=rated - abs(rated) * (0.15 if point == "bias" else 0.04),
                upper=rated + abs(rated) * (0.15 if point == "bias" else 0.04),
                U=0.004 if point == "core" else 0.0006, load_point=index,
                load_A=None if load_A is None else load_A * index,
            )  # fmt: skip


def derived() -> Iterator[Line]:
    """Regulation and output resistance."""
    for point, ratio, ohms in (("analog", 0.0298, 9.1), ("logic", 0.0084, 1.05), ("core", 0.0417, 7.02)):
        more = {"phase": Phase.DERIVED, "point": point}
        yield line(
            f"{point} load regulation", ratio, measurand=Measurand.REGULATION, unit="%", upper=0.05, U=2e-4, **more
        )
        yield line(
            f"{point} output resistance",
            ohms,
            measurand=Measurand.OUTPUT_RESISTANCE,
            unit="ohm",
            upper=12.0,
            U=0.05,
            **more,
        )


def power_down() -> Iterator[Line]:
    """Shown dead at the end."""
    for number, point in enumerate(("feed", "analog", "logic", "core", "bias", "id")):
        yield line(f"residual {point} after power-down", 0.004 * number, phase=Phase.POWER_DOWN, point=point, U=0.0011)


def lines(logic_V: float = 5.021) -> tuple[Line, ...]:
    """All lines of a whole attempt, numbered."""
    together = (*gate(), *soft_start(), *loads(logic_V), *derived(), *power_down())
    return tuple(
        replace(known, number=number, elapsed_s=number * 0.2, time=STARTED + timedelta(seconds=number * 0.2))
        for number, known in enumerate(together, start=1)
    )


def record(outcome: Outcome, cause: str | None = None, *, lines: tuple[Line, ...] = (), **changes: object) -> Record:
    """A closed record, as it would be read back."""
    known = context(**changes)
    closing = Closing(
        context=known,
        outcome=outcome,
        first_cause=cause,
        ended=STARTED + timedelta(seconds=14),
        duration_s=14.2,
        proof=("id resistor of vent-lead",) if any(line.measurement.phase is Phase.LOAD for line in lines) else (),
        csv_sha256="c5" * 32,
        previous_sha256="0" * 64,
    )
    path = Path(f"reports/{known.batch}/{known.serial}.{known.attempt}.csv")
    return Record(path=path, closing=closing, lines=lines, sha256="3c" * 32, unaltered=True)


def summary(records: Sequence[Record], **changes: object) -> BatchSummary:
    """What `batch_summary` would say of these records."""
    attempts = tuple(replace(known.attempt, lines=()) for known in records)
    told = [attempt for attempt in attempts if attempt.outcome not in (Outcome.STOPPED, Outcome.REFUSED)]
    firsts = {attempt.serial: attempt for attempt in reversed(told)}.values()
    known = BatchSummary(
        board="vent",
        batch="2026-11-A",
        attempts=attempts,
        outcomes={outcome: sum(attempt.outcome is outcome for attempt in attempts) for outcome in Outcome},
        boards={attempt.serial: attempt.outcome for attempt in attempts},
        first_pass=exact_yield(sum(first.outcome is Outcome.PASS for first in firsts), len(firsts)),
        causes=dict(Counter(cause_name(first.first_cause) for first in firsts if first.outcome is not Outcome.PASS)),
        open=(),
        damaged={},
    )
    return replace(known, **changes)


def journalled(reports: Path, serial: str, outcome: Outcome = Outcome.PASS, cause: str | None = None) -> Path:
    """A record on disk; gives its path."""
    with Journal.claim(reports, context(serial=serial, batch="b1")) as journal:
        for known in lines():
            journal.write(known)
        attempt = journal.close(outcome, cause, ended=STARTED + timedelta(seconds=14), duration_s=14.2)
    return reports / attempt.record
