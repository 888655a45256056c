"""What is told of measured values, in the base unit named beside them (V, A, ohm; "1" is a ratio)."""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

from batchtest.review.answers.model.counted import Interval, Share


class Fit(StrEnum):
    """How limits sit on what is measured."""

    TIGHT = "too tight"
    LOOSE = "loose"
    FITS = "fits"
    CANNOT_TELL = "cannot tell"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moments:
    """Values of the boards' first attempts; `sd` is `None` below two values."""

    count: int
    mean: float
    sd: float | None
    least: float
    greatest: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Margin:
    """How far values stay inside their limits; negative is outside.

    Parameters
    ----------
    least : of any board, base unit.
    serial : that board, if it is among those tested last; else empty.
    of_window : `least` as a share of the limits' half width; `None` with one limit.
    nearest : which limit is nearer to the mean, "lower" or "upper".
    in_sd : from the mean to that limit, in standard deviations; `None` where there is none.
    near : readings within their own uncertainty of a limit.
    """

    least: float
    serial: str
    of_window: float | None
    nearest: str
    in_sd: float | None
    near: Share


@dataclass(frozen=True, slots=True, kw_only=True)
class Bar:
    """One bar of a histogram: values from `lower` (included) to `upper`; `None` is open."""

    lower: float | None
    upper: float | None
    count: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Signal:
    """A run rule that a point completes: the rule's list and words."""

    rule: str
    words: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ChartPoint:
    """A point of a chart of control; `label` is a serial or a batch, `count` the values behind it."""

    label: str
    batch: str
    value: float
    count: int
    lower: float | None
    upper: float | None
    signals: tuple[Signal, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """A chart of control with its own limits, which are not the limits that boards are judged by.

    Parameters
    ----------
    kind : "individuals", "moving range", "weighted mean", "mean", "standard deviation", "count".
    title : in words. centre : the centre line.
    points : in order of time; of single boards, those tested last.
    note : what is to be known to read it, such as that too few points were there.
    """

    kind: str
    title: str
    unit: str
    centre: float
    points: tuple[ChartPoint, ...]
    note: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Capability:
    """Capability of one measurement, from at least 25 values; `None` of `cp` and `pp` with one limit.

    Parameters
    ----------
    cpk, cp : with the spread within batches; `None` where that is not known.
    ppk, pp : with the spread of all values.
    ppk_interval : Bissell's normal approximation.
    within_sd : spread within batches, base unit.
    """

    count: int
    cp: float | None
    cpk: float | None
    pp: float | None
    ppk: float
    ppk_interval: Interval
    within_sd: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Tolerance:
    """Interval that holds `coverage` of all boards to come with `confidence`, if values are normal and nothing changes.

    Parameters
    ----------
    exact : from the exact factor `factor`; one-sided where there is one limit.
    howe : from Howe's approximation; `None` with one limit.
    inside_limits : whether `exact` lies inside the limits.
    free_from : values that it takes to say so without assuming a normal distribution.
    """

    coverage: float
    confidence: float
    factor: float
    exact: Interval
    howe: Interval | None
    inside_limits: bool
    free_from: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Outlier:
    """A reading of a board that passed, and that yet lies apart from its fellows."""

    serial: str
    batch: str
    value: float
    robust_sds: float


@dataclass(frozen=True, slots=True, kw_only=True)
class PartAverage:
    """Part average limits: median and quartiles of the boards tested last, never outside the specification.

    Parameters
    ----------
    count : values that they come from; quartiles lie at the places (n + 1) p of the sorted values.
    inner, outer : fences 1.5 and 3 interquartile ranges outside the quartiles.
    outliers : readings of boards that passed, six robust deviations or more from the median of their own batch at
        their fixture, the farthest first.
    found : how many readings lie so far, those of boards that did not pass too.
    """

    count: int
    median: float
    robust_sd: float
    limits: Interval
    inner: Interval
    outer: Interval
    outliers: tuple[Outlier, ...]
    found: int


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchShift:
    """How far a batch's mean lies from that of the batch before, with the reference board's own shift taken off.

    Parameters
    ----------
    shift : mean less the mean before; `reference` the reference board's, `None` where it was not measured with both.
    corrected : `shift` less `reference`; equal to `shift` where that is not known.
    interval : of `corrected`, by Welch's t; `None` where a batch has fewer than two boards.
    """

    batch: str
    before: str
    mean: float
    count: int
    shift: float
    reference: float | None
    corrected: float
    interval: Interval | None
    told: str


@dataclass(frozen=True, slots=True, kw_only=True)
class LimitFit:
    """Whether the limits are too tight or loose for what is measured, and why, in one sentence."""

    fit: Fit
    why: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Measured:
    """One measurement with one pair of limits; other limits or another unit make another one, and are never pooled.

    Parameters
    ----------
    lower, upper : limits, both included, base unit.
    changed : the same measurement exists with other limits or another unit.
    """

    name: str
    point: str
    measurand: str
    load_point: int | None
    unit: str
    lower: float | None
    upper: float | None
    changed: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class MeasurementReview:
    """All that is said of one measurement: of the first attempt of every board.

    Parameters
    ----------
    passed, failed, doubtful, unread : boards by verdict.
    moments : `None` where there is no value.
    no_capability : why there is no capability; empty where there is.
    apart : why capability and tolerance interval are not to be trusted, since values lie far from all others; empty
        where none does.
    """

    what: Measured
    passed: int
    failed: int
    doubtful: int
    unread: int
    moments: Moments | None
    margin: Margin | None
    histogram: tuple[Bar, ...]
    charts: tuple[Chart, ...]
    capability: Capability | None
    no_capability: str
    tolerance: Tolerance | None
    part_average: PartAverage | None
    shifts: tuple[BatchShift, ...]
    limit_fit: LimitFit | None
    apart: str = ""
