"""What is put in and what comes out when the capacity of a host's outlet is worked out: frozen values, no behaviour.

Units are SI base units, temperatures in degrees Celsius, shares are ratios. A current is counted positive out of the
outlet, a source resistance positive where the voltage falls with the current.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from enum import StrEnum

from batchtest.nouns import Reading, Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class Band:
    """A value and the interval that holds it, 95 % unless said otherwise; `upper` may be infinite."""

    value: float
    lower: float
    upper: float


# What is known of the outlet before anything is measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Derating:
    """Shares of a rating over the ambient, straight between the knots: `(C, share)`, temperatures rising."""

    knots: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class FuseData:
    """A resettable fuse by its data sheet.

    Parameters
    ----------
    hold_A, trip_A : largest current that does not trip it and smallest that does, in still air at `at_C`. Between the
        two the state is undefined.
    r_min_ohm, r1_max_ohm : lowest resistance as delivered; highest one hour after a trip.
    v_max_V, i_max_A : largest voltage across it when tripped; largest fault current that it survives.
    trip_s, trip_at_A : longest time to trip, s, at the stated current.
    dissipation_W : heat that it sheds when tripped, at `at_C`.
    derating : shares of `hold_A` and `trip_A` over ambient.
    """

    hold_A: float
    trip_A: float
    at_C: float
    r_min_ohm: float
    r1_max_ohm: float
    v_max_V: float
    i_max_A: float
    trip_s: float
    trip_at_A: float
    dissipation_W: float
    derating: Derating


@dataclass(frozen=True, slots=True, kw_only=True)
class ResistorData:
    """A series resistor: its value and tolerance (ratio), and a rating in W that falls in a straight line to nothing.

    It holds in full up to `full_to_C`, and none is left at `none_at_C`.
    """

    ohm: float
    rating_W: float
    tolerance: float = 0.05
    full_to_C: float = 70.0
    none_at_C: float = 155.0


#: What stands in series with the outlet and limits what it gives.
Limiter = FuseData | ResistorData


@dataclass(frozen=True, slots=True, kw_only=True)
class Ceiling:
    """A current that must not be passed, and what sets it: "connector", "wire", "upstream fuse", "regulator Q1"."""

    term: str
    current_A: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Lead:
    """The two-core copper lead to a thing that is plugged in: length from plug to thing, cross-section of one core."""

    length_m: float
    area_mm2: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Demand:
    """A thing that is to hang on the outlet: what it draws, its peak too, and the voltage that it needs at its end."""

    name: str
    current_A: float
    peak_A: float
    minimum_V: float
    lead: Lead


# What was measured


@dataclass(frozen=True, slots=True, kw_only=True)
class Point:
    """One point of a sweep: the current that the load was set to, and the voltage at the outlet.

    Parameters
    ----------
    voltage : with `regulated` false where the load could not draw its current; such a point stays out of every fit.
    rising : whether the sweep was on its way up.
    drawn_A : what the load read back, `None` where it was not asked.
    at_s, on_s : middle of the reading, s, on one clock for the sweep (`None`: not known), and how long the current had
        flowed then.
    pulse_s : how long it flowed in all.
    """

    current_A: float
    voltage: Reading
    rising: bool = True
    drawn_A: float | None = None
    at_s: float | None = None
    on_s: float = 0.0
    pulse_s: float = 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Tripped:
    """A tripped fuse at rest: voltage across it and current through it."""

    voltage_V: float
    current_A: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Warm:
    """A fuse that has not tripped, at thermal rest: current through it and its resistance."""

    current_A: float
    ohm: float


# What comes out


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """A difference told from noise: its value, the half-width of its 95 % interval, and whether it is real."""

    value: float
    uncertainty: float

    @property
    def real(self) -> bool:
        """Whether it is larger than chance would make it in one case of twenty."""
        return abs(self.value) > self.uncertainty


@dataclass(frozen=True, slots=True, kw_only=True)
class SourceFit:
    """A straight line through a sweep: voltage = `open_V` - `ohm` x current.

    Parameters
    ----------
    open_V : where the line meets no current, V; not the open-circuit voltage where the source is curved.
    ohm : source resistance over the currents of the sweep, with its 95 % interval.
    residual_V : standard deviation of the voltages about the line.
    curvature_V : how far the middle of a best parabola lies above the straight line between its ends.
    up_down_V : mean of the voltages on the way down less those on the way up, where both were read.
    currents_A : set currents of the points that the line was laid through.
    """

    open_V: Band
    ohm: Band
    residual_V: float
    curvature_V: Difference | None
    up_down_V: Difference | None
    currents_A: tuple[float, ...]


class KneeKind(StrEnum):
    """How a source gives up."""

    LIMIT = "current limit"
    FOLD_BACK = "fold-back"
    COLLAPSE = "collapse"


@dataclass(frozen=True, slots=True, kw_only=True)
class Knee:
    """Where a source gives up: the last current that was held, the first that was not, and the way of it."""

    kind: KneeKind
    last_good_A: float
    first_bad_A: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Usable:
    """The answer: usable to `current_A` at `at_C`, and by which term; `ceilings` are all terms, the lowest first."""

    current_A: float
    at_C: float
    term: str
    ceilings: tuple[Ceiling, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Heat:
    """Heat in a series resistor against its rating at an ambient temperature, W; `share` is heat / allowed."""

    current_A: float
    heat_W: float
    allowed_W: float

    @property
    def share(self) -> float:
        """How much of what is allowed is used; infinite where nothing is allowed and something is there."""
        if self.allowed_W > 0:
            return self.heat_W / self.allowed_W
        return math.inf if self.heat_W > 0 else 0.0


@dataclass(frozen=True, slots=True, kw_only=True)
class Served:
    """Whether one demand works in one state of the source.

    Parameters
    ----------
    outlet_A : current out of the outlet at that moment: all that are plugged in run, one of them at its peak.
    voltage : voltage at the demand's own end of its lead.
    margin_V : `voltage.value` less what it needs.
    measured : whether the outlet was measured as far as `outlet_A`; beyond, its line is drawn on.
    verdict : `FAIL` where the voltage is surely too low, or more flows than a part may carry; `DOUBTFUL` where the
        need lies inside the band, or the outlet was not measured so far.
    """

    demand: Demand
    outlet_A: float
    voltage: Band
    margin_V: float
    measured: bool
    verdict: Verdict


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One demand on a cold source and on a hot one, alone and with all others plugged in."""

    demand: Demand
    cold_alone: Served
    hot_alone: Served
    cold_together: Served
    hot_together: Served


@dataclass(frozen=True, slots=True, kw_only=True)
class LetThrough:
    """What passes into a short or a miswired lead: the current at once, and how long until the limiter acts.

    Parameters
    ----------
    current_A : largest current at the first moment.
    lasts_s : until a fuse trips, at the longest; infinite where it does not act: a resistor, or a source that cannot
        trip the fuse.
    after_A : what flows once it has acted.
    heat_W : heat in the limiter while `current_A` flows.
    allowed_W : what a resistor may shed; `None` for a fuse.
    """

    current_A: float
    lasts_s: float
    after_A: float
    heat_W: float
    allowed_W: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Alternative:
    """The same outlet with one limiter, as it is or another: what it is usable to, who works, what a short draws."""

    name: str
    limiter: Limiter
    usable: Usable
    budget: tuple[BudgetRow, ...]
    let_through: LetThrough
