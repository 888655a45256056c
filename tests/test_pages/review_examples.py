"""Example reviews for pages and screens: any number of batches and measurements, with values that a seed gives."""

from __future__ import annotations

import math
import random
from dataclasses import replace
from itertools import pairwise
from statistics import mean, stdev

from batchtest.records.cures import PartFigures
from batchtest.review.answers.model import (
    Advice,
    Bar,
    BatchShift,
    BoardReview,
    Capability,
    Cause,
    Chart,
    ChartPoint,
    Comparison,
    Comparisons,
    Dimension,
    Doubt,
    Fit,
    Group,
    Grouping,
    Interval,
    LeftOut,
    LimitFit,
    Looked,
    Margin,
    Measured,
    MeasurementReview,
    Moments,
    Outlier,
    Pareto,
    PartAverage,
    Review,
    RolledYield,
    Share,
    Signal,
    Stop,
    Told,
    Tolerance,
    Yields,
)

LOWER_V, UPPER_V = 4.85, 5.15


def share(count: int, of: int) -> Share:
    """A share; its intervals are only as good as an example needs."""
    if not of:
        return Share(
            count=0, of=0, share=None, exact=Interval(lower=0.0, upper=1.0), wilson=Interval(lower=0.0, upper=1.0)
        )
    p, half = count / of, 1.0 / math.sqrt(of)
    ends = Interval(lower=max(0.0, p - half), upper=min(1.0, p + half))
    return Share(count=count, of=of, share=p, exact=ends, wilson=ends)


def yields(passed: int, of: int) -> Yields:
    """Of a group in which half of the boards that missed were recovered."""
    missed = of - passed
    return Yields(
        begun=of + 1,
        never_tested=1,
        first_pass=share(passed, of),
        final=share(passed + missed // 2, of),
        rolled=RolledYield(share=passed / of if of else None, steps=62, boards=of, interval=share(passed, of).wilson),
        retested=share(missed, of),
        retests=missed,
        retests_per_board=missed / of if of else None,
        recovered=share(missed // 2, missed),
        stopped=2,
        refused=1,
    )


def measurement(name: str, seed: int, boards: int = 40, **changes: object) -> MeasurementReview:
    """A rail near 5 V; one board of it lies above its limit, one passed apart from its fellows."""
    chance = random.Random(seed)
    values = [4.99 + chance.gauss(0, 0.012) for _ in range(boards - 2)] + [5.08, 5.21]
    names = [f"VN-{place:04d}" for place in range(1, boards + 1)]
    centre, sd = mean(values), stdev(values)
    points = tuple(
        ChartPoint(
            label=label,
            batch="2026-07-a",
            value=value,
            count=1,
            lower=centre - 3 * sd,
            upper=centre + 3 * sd,
            signals=(Signal(rule="one beyond 3 s", words="a point beyond the limits of control"),)
            if abs(value - centre) > 3 * sd
            else (),
        )
        for label, value in zip(names, values, strict=True)
    )
    ranges = tuple(
        replace(after, value=abs(after.value - before.value), lower=0.0, upper=0.08, signals=())
        for before, after in pairwise(points)
    )
    found = MeasurementReview(
        what=Measured(
            name=name,
            point="logic",
            measurand="voltage",
            load_point=3,
            unit="V",
            lower=LOWER_V,
            upper=UPPER_V,
            changed=False,
        ),
        passed=boards - 1,
        failed=1,
        doubtful=0,
        unread=0,
        moments=Moments(count=boards, mean=centre, sd=sd, least=min(values), greatest=max(values)),
        margin=Margin(
            least=UPPER_V - max(values),
            serial=names[-1],
            of_window=(UPPER_V - max(values)) / 0.15,
            nearest="lower",
            in_sd=(centre - LOWER_V) / sd,
            near=share(1, boards),
        ),
        histogram=_bars(values),
        charts=(
            Chart(kind="individuals", title="individuals", unit="V", centre=centre, points=points),
            Chart(kind="moving range", title="moving range", unit="V", centre=0.013, points=ranges),
        ),
        capability=Capability(
            count=boards,
            cp=None,
            cpk=None,
            pp=0.3 / (6 * sd),
            ppk=(centre - LOWER_V) / (3 * sd),
            ppk_interval=Interval(lower=0.9, upper=1.6),
            within_sd=None,
        ),
        no_capability="",
        tolerance=Tolerance(
            coverage=0.95,
            confidence=0.95,
            factor=2.445,
            exact=Interval(lower=centre - 2.445 * sd, upper=centre + 2.445 * sd),
            howe=Interval(lower=centre - 2.443 * sd, upper=centre + 2.443 * sd),
            inside_limits=True,
            free_from=93,
        ),
        part_average=PartAverage(
            count=boards,
            median=4.99,
            robust_sd=0.012,
            limits=Interval(lower=4.918, upper=5.062),
            inner=Interval(lower=4.94, upper=5.04),
            outer=Interval(lower=4.91, upper=5.07),
            found=1,
            outliers=(Outlier(serial=names[-2], batch="2026-07-a", value=5.08, robust_sds=7.5),),
        ),
        shifts=(
            BatchShift(
                batch="2026-07-b",
                before="2026-07-a",
                mean=4.993,
                count=20,
                shift=0.004,
                reference=0.003,
                corrected=0.001,
                interval=Interval(lower=-0.004, upper=0.006),
                told="cannot tell",
            ),
        ),
        limit_fit=LimitFit(fit=Fit.FITS, why="the mean lies 4 s from the nearer limit"),
    )
    return replace(found, **changes)


def few(name: str) -> MeasurementReview:
    """The same of two boards: no figure of merit, no chart."""
    return measurement(
        name,
        seed=0,
        boards=2,
        capability=None,
        no_capability="no figure below n = 25; here n = 2",
        tolerance=None,
        part_average=None,
        histogram=(),
        charts=(),
        shifts=(),
        limit_fit=LimitFit(fit=Fit.CANNOT_TELL, why="n = 2"),
    )


def board(batches: int = 2, rails: int = 3, of: int = 20) -> BoardReview:
    """A board type in so many batches of `of` boards each."""
    names = [f"2026-{1 + place // 9:02d}-{'abcdefghi'[place % 9]}" for place in range(batches)]
    passed = [of - place % 5 for place in range(batches)]
    groups = tuple(Group(name=name, yields=yields(count, of)) for name, count in zip(names, passed, strict=True))
    missed = sum(of - count for count in passed)
    pairs = tuple(
        Comparison(
            one=one,
            other="all others",
            one_share=share(count, of),
            other_share=share(sum(passed) - count, of * (batches - 1)),
            p=0.4,
            p_holm=1.0 if place else 0.00004,
            difference=-0.1,
            told=Told.CANNOT_TELL if place else Told.WORSE,
        )
        for place, (one, count) in enumerate(zip(names, passed, strict=True))
    )
    return BoardReview(
        board="vent",
        yields=yields(sum(passed), of * batches),
        groupings=(
            Grouping(by=Dimension.BATCH, groups=groups, confounded="Each batch was tested on one fixture only."),
        ),
        pareto=Pareto(
            causes=tuple(
                Cause(name=name, boards=count, share=share(count, 12), cumulative=cumulative)
                for name, count, cumulative in (("logic-short", 6, 0.5), ("analog @ load point 3", 4, 10 / 12))
            ),
            other=2,
            other_causes=2,
            boards=missed,
            tested=of * batches,
            few=missed < 5,
        ),
        stops=(Stop(outcome="stopped", cause="meter: no reply to 'READ?'", attempts=2),),
        stop_chart=Chart(
            kind="count",
            title="stopped and refused attempts by batch",
            unit="",
            centre=1.5,
            points=tuple(
                ChartPoint(label=name, batch=name, value=float(place % 3), count=1, lower=0.0, upper=5.2)
                for place, name in enumerate(names)
            ),
        ),
        doubts=(Doubt(reason="near the upper limit", readings=3, where=("logic @ load point 3",)),),
        comparisons=(
            Comparisons(by=Dimension.BATCH, compared=pairs, told="1 of the batches is worse than all others."),
        ),
        repaired=(
            PartFigures(
                board="vent",
                part="R5B",
                reworked=5,
                cured=4,
                open=1,
                found=3,
                found_first=2,
                months={"2026-02": 1, "2026-03": 2},
                records=("spring/note.1.json", "spring/note.4.json", "summer/note.2.json"),
            ),
        ),
        measurements=(
            *(measurement(f"logic @ load point {place}", seed=place) for place in range(rails)),
            few("core @ load point 1"),
        ),
    )


def a_review(batches: int = 2, rails: int = 3, **looked: object) -> Review:
    """A whole review of one board type."""
    found = Looked(
        engine="duckdb",
        batches=batches,
        boards=20 * batches,
        attempts=22 * batches,
        readings=1400 * batches,
        first="2026-07-01T08:00:00+00:00",
        last="2026-11-20T16:00:00+00:00",
        where=(),
        left_out=(LeftOut(name="autumn/VN-0400.1.csv", why="torn: its last line is cut off"),),
        simulated=False,
        waived=0,
    )
    return Review(
        made="2026-11-30T09:00:00+00:00",
        looked=replace(found, **looked),
        worth_acting_on=(
            Advice(
                sentence="Half of the boards that fail have logic-short: look at the reflow first.", see="first causes"
            ),
            Advice(
                sentence="VN-0039 passed and lies 7.5 s from its fellows: look at it before it ships.", see="outliers"
            ),
        ),
        notices=("logic @ load point 3: limits changed with batch 2026-07-b; kept apart",),
        boards=(board(batches, rails),),
        definitions={"first-pass yield": "boards that passed at the first attempt that was worked through"},
    )


def _bars(values: list[float]) -> tuple[Bar, ...]:
    width = 0.015
    edges = [LOWER_V - 2 * width + width * place for place in range(26)]
    bars = [
        Bar(lower=low, upper=low + width, count=sum(low <= value < low + width for value in values)) for low in edges
    ]
    return (*bars, Bar(lower=edges[-1] + width, upper=None, count=sum(value >= edges[-1] + width for value in values)))
