"""The nouns of diagnosis: what may be wrong, what every reading would be then, what a record makes likely. Frozen."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from batchtest.nouns import Measurand

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]


class Kind(StrEnum):
    """Where a fault is: on the board, in the fixture's stand-in for the host, the cable, a needle, an instrument."""

    GOOD = "good"
    BOARD = "board"
    FIXTURE = "fixture"
    CABLE = "cable"
    CONTACT = "contact"
    INSTRUMENT = "instrument"
    UNKNOWN = "unknown"


class Defect(StrEnum):
    """How something is wrong; a prior goes with it."""

    NONE = "none"
    OPEN = "open"
    SHORT = "short"
    MISSING = "missing"
    REVERSED = "reversed"
    VALUE = "wrong value"
    BRIDGE = "bridge"
    DEAD = "dead"
    WIRING = "wiring"
    CONTACT = "poor contact"
    BIAS = "reads wrong"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hypothesis:
    """One thing that may be wrong.

    Parameters
    ----------
    name : unique in its table, such as "DZ12 short", "RZ12 is 12 kohm", "b12-vin bridged", "host.DS1 open".
    kind, defect : where it is, and how.
    parts : what would be changed or looked at: "DZ12"; all neighbours of a bridge; the cable; a terminal ("TP4").
    mode : how it fails, as the parts file says it ("open", "short-ce"); of a wrong value, the value ("12 kohm").
    place : where on the board it sits, x and y in m, where the parts file says it.
    """

    name: str
    kind: Kind
    defect: Defect
    parts: tuple[str, ...] = ()
    mode: str = ""
    place: tuple[float, float] | None = None


class Ends(StrEnum):
    """What a value or a state of the supply means for the rest of an attempt."""

    NOTHING = ""
    GATE = "the board is never powered"
    AT_ONCE = "everything is switched off"


@dataclass(frozen=True, slots=True, kw_only=True)
class Column:
    """One reading that a table knows: of the procedure, or one that a person may take with a probe.

    Parameters
    ----------
    name : the measurement's ("logic @ load point 2"), or of a probe "TP7 cold", "TP7 @ 24 V".
    point : the fixture's point; of a probe its name in the parts file ("TP7").
    unit : base unit. Cold probes are in ohm, powered ones in V.
    state : "cold", or what is powered ("soft start 12 V", "load point 2").
    reach : largest magnitude that can be shown, base unit; beyond it the meter is over range.
    lower, upper : limits, base unit, infinite where there are none; `abort_lower`, `abort_upper` likewise.
    ends : what a value out of its limits means for the rest of the attempt.
    probe : whether it is no reading of the procedure, but one that a person may take.
    instrument : what takes it, function and range; readings of one share its gain and offset.
    gain, offset, noise : standard uncertainty of that gain (a ratio), that offset, and of a reading's scatter.
    """

    name: str
    point: str
    measurand: Measurand
    unit: str
    state: str
    reach: float
    lower: float = -np.inf
    upper: float = np.inf
    abort_lower: float = -np.inf
    abort_upper: float = np.inf
    ends: Ends = Ends.NOTHING
    probe: bool = False
    instrument: str = ""
    gain: float = 0.0
    offset: float = 0.0
    noise: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A node that a person can touch with a probe, from the parts file.

    Parameters
    ----------
    name : as printed on the board, "TP7".
    node : its node in the netlist, and `parts` the parts that have a leg on it: where to find it.
    reach : "testpoint", "connector" or "internal" (a leg of a part).
    minus : what the other needle touches ("TP1").
    """

    name: str
    node: str
    reach: str
    minus: str
    parts: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class FaultTable:
    """For every hypothesis, the distribution of every reading.

    A reading is ``mean + spread @ z + rough * noise``: `z` are independent standard normals, one for each part value
    and setting of the bench that is not exactly known, and `rough` is what is not linear in them. The instruments' own
    errors are not in it (`likelihood.py` adds them, at the values that were read).

    Attributes
    ----------
    key : hash of circuits, limits, fixture, bench and of how the table is made.
    board, fixture : whose table it is.
    hypotheses : (H,) the first is the good board.
    columns : (R,) procedure's first, in the order in which they are read, then what probes may read.
    spots : probe name -> where it is.
    mean : (H, R) base unit; `rough` likewise.
    spread : (H, R, Z) base unit per standard deviation, float32.
    over : (H, R) share of boards for which the reading is over range.
    limiting : (H, S) share of boards that hold the supply in its current limit in each of `states`.
    states : (S,) powered states in their order.
    """

    key: str
    board: str
    fixture: str
    hypotheses: tuple[Hypothesis, ...]
    columns: tuple[Column, ...]
    spots: Mapping[str, Spot]
    states: tuple[str, ...]
    mean: Floats
    rough: Floats
    spread: NDArray[np.float32]
    over: Floats
    limiting: Floats


@dataclass(frozen=True, slots=True, kw_only=True)
class Probed:
    """A reading that a person took by hand: `value` is `None` where the meter was over range (open).

    `unit` is "V" (powered, in `state`; empty: in the state that `diagnose` would suggest) or "ohm" (not powered).
    """

    spot: str
    value: float | None
    unit: Literal["V", "ohm"]
    state: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Deviation:
    """A reading that speaks against a good board.

    Parameters
    ----------
    name, point, unit : of the reading. `value` is `None` where it was over range.
    expected : what a good board reads there, base unit; `None`: over range.
    sigmas : how far it is off, in standard deviations of good boards and meter together; infinite for over range
        against a value.
    explained : what the cause in hand would read there; `None`: over range.
    """

    name: str
    point: str
    unit: str
    value: float | None
    expected: float | None
    sigmas: float
    explained: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Cause:
    """What may be wrong, with everything that these readings and probes could not tell from it.

    Parameters
    ----------
    hypotheses : the members, likeliest first; usually one.
    probability : of all members together.
    shares : probability of each member.
    because : the readings that speak for it most, the furthest off first.
    """

    hypotheses: tuple[Hypothesis, ...]
    probability: float
    shares: tuple[float, ...]
    because: tuple[Deviation, ...] = ()

    @property
    def parts(self) -> tuple[str, ...]:
        """Names of the parts concerned, each once, likeliest first."""
        return tuple(dict.fromkeys(part for one in self.hypotheses for part in one.parts))


@dataclass(frozen=True, slots=True, kw_only=True)
class Suggestion:
    """What to measure next by hand.

    Parameters
    ----------
    spot : where: plus needle on it, minus on `spot.minus`.
    unit : "ohm" (not powered) or "V" (powered, in `state`).
    minutes : what it takes, and `risk` by how much that counts more for a slip under power (1: no more).
    bits : expected drop of the entropy of what is wrong.
    outcomes : cause (first member's name) -> what it would read, base unit; `None`: over range (open).
    """

    spot: Spot
    unit: Literal["V", "ohm"]
    state: str
    minutes: float
    risk: float
    bits: float
    outcomes: Mapping[str, float | None]

    @property
    def worth(self) -> float:
        """Bits per minute and risk."""
        return self.bits / (self.minutes * self.risk)


Advice = Literal["change", "look", "measure", "no further", "bench", "unknown", "nothing"]


@dataclass(frozen=True, slots=True, kw_only=True)
class Diagnosis:
    """What a record and probes make likely.

    Parameters
    ----------
    causes : likeliest first; all probabilities with `unknown` sum to 1. Empty for a board without a bad reading.
    unknown : probability that it is something that the table does not have.
    advice : "change" the one part (or "look" at the bridge, wire or joint), "measure" what `next` says, "no further":
        these readings and probes cannot tell the first cause's members apart, "bench": it is not the board,
        "unknown", or "nothing" for a board without a bad reading.
    next : worth most first; empty where nothing helps.
    used : names of the readings that were used, in the order of the table.
    table : its key.
    """

    causes: tuple[Cause, ...]
    unknown: float
    advice: Advice
    next: tuple[Suggestion, ...]
    used: tuple[str, ...]
    table: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Sight:
    """What the procedure sees of one fault.

    Parameters
    ----------
    fails : share of boards with it that do not pass.
    first : the reading that most often fails first; empty where none does.
    sigmas : how far the readings lie from a good board's, all together, in standard deviations.
    alike : other faults that these readings cannot tell from it.
    """

    hypothesis: Hypothesis
    fails: float
    first: str
    sigmas: float
    alike: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Coverage:
    """Which faults a procedure sees: by its limits, only in readings that lie within their limits, or not at all.

    `needs` says, where it is known, what would show an invisible one.
    """

    board: str
    fixture: str
    seen: tuple[Sight, ...]
    within_limits: tuple[Sight, ...]
    invisible: tuple[Sight, ...]

    @property
    def share(self) -> float:
        """Share of all faults that fail a board."""
        total = len(self.seen) + len(self.within_limits) + len(self.invisible)
        return len(self.seen) / total if total else 0.0
