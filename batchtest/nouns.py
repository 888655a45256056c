"""The nouns of the station: frozen values without behaviour. One word for one thing, everywhere.

Units are SI base units (V, A, ohm, s); a regulation is a ratio with unit "%". The time of a `Line` is wall time with
offset.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date, datetime
from enum import StrEnum
from typing import Literal


class Role(StrEnum):
    """What an instrument does on the bench."""

    METER = "meter"
    LOAD = "load"
    SUPPLY = "supply"
    SCANNER = "scanner"
    HANDLER = "handler"


class Measurand(StrEnum):
    """What kind of quantity a measurement is of."""

    VOLTAGE = "voltage"
    RESISTANCE = "resistance"
    DIODE = "diode drop"
    CONTACT = "contact resistance"
    CURRENT = "supply current"
    REGULATION = "load regulation"
    OUTPUT_RESISTANCE = "output resistance"
    USABLE_CURRENT = "usable current"
    LOAD_CURRENT = "load current"
    TIME_TO_TRIP = "time to trip"


class Phase(StrEnum):
    """Where in the procedure a measurement stands. Nothing is powered in `GATE`; in `HOST` a host feeds itself.

    `COLD`, `HOT`, `HOLD` and `TRIP` load the outlet of a host: by short pulses, to thermal rest, at the current that a
    resettable fuse must hold, and until it trips.
    """

    GATE = "gate"
    HOST = "live host"
    COLD = "cold sweep"
    HOT = "hot sweep"
    HOLD = "hold test"
    TRIP = "trip test"
    SOFT_START = "soft start"
    LOAD = "load"
    DERIVED = "derived"
    POWER_DOWN = "power-down"


class Verdict(StrEnum):
    """What the decision rule says of one reading. `DOUBTFUL`: inside the limits, but in the guard band."""

    PASS = "pass"
    FAIL = "fail"
    DOUBTFUL = "doubtful"
    UNREAD = "unread"


class NoteKind(StrEnum):
    """What a note adds to what is known of a board. A deviation is granted before it is made, a concession after."""

    REWORK = "rework"
    CORRECTION = "correction"
    DEVIATION = "deviation"
    CONCESSION = "concession"
    RELEASE = "release"
    SCRAP = "scrap"


class Reason(StrEnum):
    """Why a board that was tested before is tested again."""

    RESEATED = "re-seated"
    REWORKED = "reworked"
    BENCH_MENDED = "bench-mended"
    GOLDEN_CHECK = "golden-check"
    OTHER = "other"


class Outcome(StrEnum):
    """What became of an attempt. `STOPPED`: the bench was at fault; `REFUSED`: cable or fixture not proven."""

    PASS = "pass"
    FAIL = "fail"
    DOUBTFUL = "doubtful"
    STOPPED = "stopped"
    REFUSED = "refused"


@dataclass(frozen=True, slots=True, kw_only=True)
class Limit:
    """Bounds for one measurand, both included; `None` is no bound on that side."""

    lower: float | None = None
    upper: float | None = None
    source: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Measurement:
    """One thing to be measured: what, where, on which range, against which limit.

    Parameters
    ----------
    name : unique in its procedure, such as "logic @ load point 2".
    point : the fixture's point, or "" for what the supply reads of itself.
    unit : base unit of the value: "V", "A", "ohm" or "%".
    range : fixed range of the instrument, base unit; 0 where there is none (derived values).
    limit : what it is judged by; `None` is recorded without a verdict.
    abort : bounds that leave nothing powered a moment longer, on every single raw reading.
    load_point, load_A : which load point, and the current drawn from this rail there.
    expected : value of a board with nominal parts, from the circuit.
    settle_s : expected time constant at the point, s.
    """

    name: str
    phase: Phase
    point: str
    measurand: Measurand
    unit: str
    range: float
    limit: Limit | None = None
    abort: Limit | None = None
    load_point: int | None = None
    load_A: float | None = None
    expected: float | None = None
    settle_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Reading:
    """One measured value.

    Parameters
    ----------
    value : base unit; `None` where there was no reading. No reading is never a pass.
    beyond : set where the instrument was over range and contact was proven: the true value is above this, and `value`
        is `None`.
    spread : standard deviation of a single raw value (pooled per range where that is known better), base unit.
    count : number of raw values averaged.
    uncertainty : expanded, k = 2, base unit; `None` where there is no value.
    raw : the instrument's reply as it came.
    nplc : integration time of one raw value in power-line cycles; 0 where not known.
    settle_s : how long after the last change of state the value was taken, s.
    settled : `False` where the value was still on its way when its time was over.
    status : status words read with it, as "supply=0 load=0"; raw.
    regulated : `False` where a load could not draw the current that it was set to, or the supply did not regulate: the
        value is kept, and is no reading at that current.
    """

    value: float | None
    unit: str
    beyond: float | None = None
    spread: float | None = None
    count: int = 0
    uncertainty: float | None = None
    raw: str = ""
    nplc: float = 0.0
    settle_s: float = 0.0
    settled: bool = True
    status: str = ""
    regulated: bool = True


@dataclass(frozen=True, slots=True, kw_only=True)
class Judgement:
    """A verdict, the guard band it was made with (base unit, >= 0), and why in a few plain words."""

    verdict: Verdict
    guard: float = 0.0
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Line:
    """One line of a record: what was to be measured, what came, what it was judged (`None` without a limit)."""

    number: int
    time: datetime
    elapsed_s: float
    measurement: Measurement
    reading: Reading
    judgement: Judgement | None


@dataclass(frozen=True, slots=True, kw_only=True)
class InstrumentIdentity:
    """Who an instrument said it is, how it is spoken to, when it was calibrated, and how long it had been on.

    Parameters
    ----------
    on_for_s, warm_up_s : how long it had answered without being off when the bench was opened, and how long it should
        have; `None` where its warm-up is not asked for.
    certificate, dialect_sha256 : number of its calibration's, hash of the dialect's file; empty: not known.
    """

    role: Role
    maker: str
    model: str
    serial: str
    firmware: str
    address: str
    dialect: str
    calibrated: date | None = None
    due: date | None = None
    calibration_age_d: float | None = None
    on_for_s: float | None = None
    warm_up_s: float | None = None
    certificate: str = ""
    dialect_sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Waiver:
    """Two people answer for named readings of the gate that do not pass, in one batch on one bench, fixture and cable.

    Parameters
    ----------
    number : counted from 1 in its batch; 0 until it is written.
    readings : names of the measurements that it excuses, or "challenge" for the age of the bench's challenge.
    people : who answer for it, two different ones.
    written, expires : wall time with offset; from `expires` on it excuses nothing.
    sha256 : its own hash in the chain of the station; empty until it is written.
    """

    number: int
    batch: str
    station: str
    bench: str
    board: str
    fixture: str
    cable: str
    readings: tuple[str, ...]
    people: tuple[str, str]
    reason: str
    written: datetime
    expires: datetime
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Note:
    """What a person adds to the records of a board: a record of its own, which links to the one it is about.

    Parameters
    ----------
    number : counted from 1 in its batch, all boards together; 0 until it is written.
    by, second : who says so, and who else; `second` is empty where nobody else was asked.
    about, about_sha256 : the record that it is about, from the reports folder, and that record's own hash.
    part, changed, lot : of a rework: which part, what was done to it, and the lot of the part that was put in.
    reference : number of a deviation or concession; its limits are `until` (included), `quantity` in boards, or both.
    written : wall time with offset.
    sha256 : its own hash in the chain of the station; empty until it is written.
    """

    number: int
    batch: str
    serial: str
    station: str
    kind: NoteKind
    by: str
    text: str
    about: str
    about_sha256: str
    written: datetime
    second: str = ""
    part: str = ""
    changed: str = ""
    lot: str = ""
    reference: str = ""
    until: date | None = None
    quantity: int | None = None
    sha256: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Retest:
    """Why a board that was tested before in its batch was tested again.

    Parameters
    ----------
    text : more about the reason, in the person's words; of a reworked board, what its rework note says.
    earlier : records of the attempts before this one, from the reports folder, stopped and refused ones too.
    number : which retest since the board was last reworked, from 1; 0 for the first test after a rework.
    second : who else answered for more retests than the limits allow one person; empty where nobody had to.
    """

    reason: Reason
    text: str = ""
    earlier: tuple[str, ...]
    number: int
    second: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Context:
    """All that a record must say besides its lines, so that it stands up years later; `waivers` were in force then.

    `kind` is "host" where a host was mapped with nothing mated to it, "outlet" where its outlet was load-tested then;
    `board` is that host then, and `cable` empty. `outlet` is what was known of it before it was loaded, as JSON.
    What follows `kind` came later, and is missing in older records: an empty text or `None` is "not known", or, of the
    humidity (a ratio), "not measured". `option` says by which of its parts lists the board was made; matings are
    counted with this one; `notes` are those of this board that were written before. `guardian` is what was told of
    whoever watched over the outputs, such as an output that it cannot reach.
    """

    board: str
    board_revision: str
    batch: str
    serial: str
    attempt: int
    station: str
    operator: str
    fixture: str
    cable: str
    bench: str
    simulated: bool
    ambient_C: float
    rule: str
    limits_sources: Mapping[str, str]
    file_hashes: Mapping[str, str]
    software: str
    instruments: tuple[InstrumentIdentity, ...]
    started: datetime
    waivers: tuple[Waiver, ...] = ()
    kind: Literal["board", "host", "outlet"] = "board"
    firmware: str = ""
    option: str = ""
    humidity: float | None = None
    fixture_revision: str = ""
    fixture_matings: int | None = None
    cable_revision: str = ""
    cable_matings: int | None = None
    retests_allowed: int | None = None
    retest: Retest | None = None
    notes: tuple[Note, ...] = ()
    guardian: tuple[str, ...] = ()
    outlet: Mapping[str, object] | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Challenge:
    """A bench shown a cable that is deliberately wrong, and then the right one.

    It passed where the wrong one was refused by its own name, from the reading that tells it, and the right one taken.
    A dead meter refuses everything, and does not pass.

    Parameters
    ----------
    why : what was seen, in plain words.
    told_by : the reading by which the wrong cable was told.
    records : those of the two attempts, from the reports folder.
    """

    station: str
    bench: str
    fixture: str
    cable: str
    wrong: str
    passed: bool
    why: str
    told_by: str
    at: datetime
    records: tuple[str, str]


@dataclass(frozen=True, slots=True, kw_only=True)
class Attempt:
    """One closed try at one serial. `first_cause` names what decided an outcome other than `pass`, in plain words."""

    board: str
    batch: str
    serial: str
    number: int
    outcome: Outcome
    first_cause: str | None
    started: datetime
    duration_s: float
    record: str
    lines: tuple[Line, ...] = field(default=(), repr=False)
