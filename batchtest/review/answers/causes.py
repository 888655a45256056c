"""Why boards did not pass, why attempts told nothing, and why readings were in doubt; and stops batch by batch."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence

from batchtest.review.answers.model import Cause, Chart, ChartPoint, Doubt, Group, Pareto, Signal, Stop
from batchtest.review.answers.yields import share
from batchtest.review.questions import Causes, Doubts, Stops
from batchtest.review.stats import charts

_MOST_CAUSES = 10
#: Below so many boards the order of causes is hardly more than chance (common practice, no source).
_FEW = 10
_NOT_NAMED = "not named"


def pareto(rows: Iterable[Causes], tested: int) -> Pareto:
    """First causes by board; a board counts once, with what failed first."""
    counts: Counter[str] = Counter()
    for row in rows:
        counts[row.cause or _NOT_NAMED] += row.boards
    ordered = sorted(counts.items(), key=lambda item: (-item[1], item[0]))
    total, so_far, causes = counts.total(), 0, []
    for name, boards in ordered[:_MOST_CAUSES]:
        so_far += boards
        causes.append(Cause(name=name, boards=boards, share=share(boards, total), cumulative=so_far / total))
    return Pareto(
        causes=tuple(causes),
        other=total - so_far,
        other_causes=len(ordered) - len(causes),
        boards=total,
        tested=tested,
        few=total < _FEW,
    )


def stops(rows: Iterable[Stops]) -> tuple[Stop, ...]:
    """Attempts that the station stopped or refused, by cause, the most frequent first."""
    found = [Stop(outcome=row.outcome, cause=row.cause or _NOT_NAMED, attempts=row.attempts) for row in rows]
    return tuple(sorted(found, key=lambda stop: (-stop.attempts, stop.outcome, stop.cause)))


def stop_chart(batches: Sequence[Group]) -> Chart | None:
    """Stopped and refused attempts by batch, in order of time; `None` below two batches."""
    if len(batches) < 2:
        return None
    counts = [batch.yields.stopped + batch.yields.refused for batch in batches]
    lines = charts.counts(counts)
    beyond = Signal(rule="count", words="more than 3 sigma above the mean")
    points = tuple(
        ChartPoint(
            label=batch.name,
            batch=batch.name,
            value=float(count),
            count=batch.yields.begun,
            lower=lines.lower,
            upper=lines.upper,
            signals=(beyond,) if count > lines.upper else (),
        )
        for batch, count in zip(batches, counts, strict=True)
    )
    sizes = {batch.yields.begun for batch in batches}
    return Chart(
        kind="count",
        title="Stopped and refused attempts by batch",
        unit="",
        centre=lines.centre,
        points=points,
        note="" if len(sizes) == 1 else "batches differ in size: a larger one may have more stops by that alone",
    )


def doubts(rows: Iterable[Doubts]) -> tuple[Doubt, ...]:
    """Readings that were neither passed nor failed, by why, the most frequent first."""
    counts: dict[str, Counter[str]] = {}
    for row in rows:
        counts.setdefault(row.cause, Counter())[row.name] += row.readings
    found = [
        Doubt(
            reason=cause,
            readings=names.total(),
            where=tuple(sorted(names, key=lambda name: (-names[name], name))[:3]),
        )
        for cause, names in counts.items()
    ]
    return tuple(sorted(found, key=lambda doubt: (-doubt.readings, doubt.reason)))
