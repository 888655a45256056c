"""Charts of control of one measurement: board by board, and batch by batch."""

from __future__ import annotations

from collections.abc import Sequence

from batchtest.review.answers.asked import MICRO
from batchtest.review.answers.model import Chart, ChartPoint, Signal
from batchtest.review.answers.spread import moments
from batchtest.review.answers.words import many
from batchtest.review.questions import Individual, Measured
from batchtest.review.stats import charts
from batchtest.review.stats.moments import autocorrelation
from batchtest.review.stats.run_rules import NELSON, WESTERN_ELECTRIC, RunRule, completed

#: From so many points on all of Nelson's rules are used, and lines count as known (common practice, no source).
_MANY = 25
#: Allowance and limit of cumulative sums, in standard deviations, for a shift of one (e-Handbook 6.3.2.3).
_ALLOWANCE, _LIMIT = 0.5, 5.0


def board_charts(values: Sequence[Individual]) -> tuple[Chart, ...]:
    """Single values, their moving ranges and weighted means, in order of time; none below two values."""
    if len(values) < 2:
        return ()
    numbers = [each.value_micro / MICRO for each in values]
    lines = charts.individuals(numbers)
    return (
        _individuals(values, numbers, lines),
        _moving_ranges(values, numbers),
        _weighted(values, numbers, lines),
    )


def batch_charts(rows: Sequence[Measured]) -> tuple[Chart, ...]:
    """Means and standard deviations of batches, in order of time; none below two batches with a spread.

    Parameters
    ----------
    rows : of one measurement, a batch each.
    """
    known = [(row.batch, found) for row in rows if (found := moments(row)) is not None]
    batches = [(name, charts.Subgroup(count=found.count, mean=found.mean, sd=found.sd)) for name, found in known
               if found.sd is not None]  # fmt: skip
    if len(batches) < 2:
        return ()
    groups, unit = [group for _, group in batches], rows[0].unit
    left_out = len(known) - len(batches)
    note = f"{left_out} with a single value left out" if left_out else ""
    made = []
    for kind, title, lines, values in (
        ("mean", "Mean of each batch", charts.means(groups), [group.mean for group in groups]),
        ("standard deviation", "Standard deviation of each batch", charts.sds(groups), [group.sd for group in groups]),
    ):
        rules = WESTERN_ELECTRIC if kind == "mean" else WESTERN_ELECTRIC[:1]
        seen = _signals(rules, [line.standard(value) for line, value in zip(lines, values, strict=True)])
        points = tuple(
            ChartPoint(
                label=name, batch=name, value=value, count=group.count,
                lower=line.lower, upper=line.upper, signals=signals,
            )
            for (name, group), line, value, signals in zip(batches, lines, values, seen, strict=True)
        )  # fmt: skip
        made.append(Chart(kind=kind, title=title, unit=unit, centre=lines[0].centre, points=points, note=note))
    return tuple(made)


def _individuals(values: Sequence[Individual], numbers: Sequence[float], lines: charts.Lines) -> Chart:
    rules = NELSON if len(numbers) >= _MANY else WESTERN_ELECTRIC
    signals = _signals(rules, [lines.standard(value) for value in numbers])
    return _chart("individuals", "Value of each board", values, numbers, lines, signals, _note(numbers))


def _moving_ranges(values: Sequence[Individual], numbers: Sequence[float]) -> Chart:
    ranges, lines = charts.moving_ranges(numbers)
    signals = _signals(WESTERN_ELECTRIC[:1], [lines.standard(value) for value in ranges])
    title = "Difference of each board to the one before"
    return _chart("moving range", title, values[1:], ranges, lines, signals, "")


def _weighted(values: Sequence[Individual], numbers: Sequence[float], lines: charts.Lines) -> Chart:
    averages, own = charts.weighted(numbers, lines.centre, lines.sigma)
    signals = _signals(WESTERN_ELECTRIC[:1], [own.standard(value) for value in averages])
    if lines.sigma:
        sums = charts.cumulative_sums(numbers, lines.centre, _ALLOWANCE * lines.sigma, _LIMIT * lines.sigma)
        if sums.first is not None:
            words = f"sum of what lies on the {sums.side} side went beyond {_LIMIT:g} sigma"
            signals[sums.first] += (Signal(rule="cumulative sum", words=words),)
    title = "Weighted mean, the newest board with a fifth"
    return _chart("weighted mean", title, values, averages, own, signals, "")


def _chart(
    kind: str,
    title: str,
    values: Sequence[Individual],
    numbers: Sequence[float],
    lines: charts.Lines,
    signals: Sequence[tuple[Signal, ...]],
    note: str,
) -> Chart:
    points = tuple(
        ChartPoint(
            label=each.serial,
            batch=each.batch,
            value=number,
            count=1,
            lower=lines.lower,
            upper=lines.upper,
            signals=seen,
        )
        for each, number, seen in zip(values, numbers, signals, strict=True)
    )
    return Chart(kind=kind, title=title, unit=values[0].unit, centre=lines.centre, points=points, note=note)


def _signals(rules: Sequence[RunRule], points: Sequence[float]) -> list[tuple[Signal, ...]]:
    return [tuple(Signal(rule=rule.name, words=rule.words) for rule in found) for found in completed(rules, points)]


def _note(numbers: Sequence[float]) -> str:
    """What is to be known before the lines of single values are trusted."""
    notes = []
    if len(numbers) < _MANY:
        notes.append(f"lines from {many(len(numbers), 'board')} are rough; from {_MANY} on they count as known")
    follows = autocorrelation(numbers)
    if follows is None:
        notes.append("all values are equal")
    elif abs(follows) > 2 / len(numbers) ** 0.5:
        notes.append(f"boards resemble the one before (correlation {follows:.2f}): the lines are not to be trusted")
    return "; ".join(notes)
