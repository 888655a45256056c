"""A whole review, from the rows that an engine gives back."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta

from batchtest.nouns import Phase
from batchtest.records.cures import PartFigures
from batchtest.review.answers import causes, control, outlying, shifts, spread
from batchtest.review.answers.advice import worth_acting_on
from batchtest.review.answers.asked import Asked, Key, Remembered, by_kind, key_of, together
from batchtest.review.answers.comparing import comparisons
from batchtest.review.answers.definitions import DEFINITIONS
from batchtest.review.answers.model import (
    BoardReview,
    Dimension,
    Grouping,
    LeftOut,
    Looked,
    MeasurementReview,
    Review,
)
from batchtest.review.answers.model import (
    Measured as What,
)
from batchtest.review.answers.notices import changed, notices
from batchtest.review.answers.yields import groupings, rolled, yields
from batchtest.review.questions import Bin, Boards, Causes, Doubts, Golden, Individual, Measured, Outlier, Stops, Totals

#: Measurements of each board type that are looked into closely.
CHARTED = 24
_PHASES = {phase.value: place for place, phase in enumerate(Phase)}
_EPOCH = datetime(1970, 1, 1, tzinfo=UTC)


@dataclass(frozen=True, slots=True, kw_only=True)
class Request:
    """What a review is to say besides its numbers.

    Parameters
    ----------
    made : wall time with offset.
    engine : its name or address.
    by : what boards are grouped and compared by; batches always are.
    where : conditions that the person set, in words.
    left_out : records and folders that the engine was not given.
    repaired : what the rework notes of all board types taught.
    """

    made: datetime
    engine: str
    by: tuple[Dimension, ...] = (Dimension.BATCH,)
    where: tuple[str, ...] = ()
    left_out: tuple[LeftOut, ...] = ()
    repaired: tuple[PartFigures, ...] = ()


def review(asked: Asked, request: Request) -> Review:
    """Ask for everything and work it out; nothing is measured, and no file is read but by the engine.

    The measurements that are looked into closely, at most `CHARTED` for each board type, are those on which boards did
    not pass, then those with the least margin; the others have counts, moments and margin alone.
    """
    asked = Remembered(asked)
    (totals,) = asked.ask(Totals)
    rows = [together(found) for found in by_kind(asked.ask(Measured), key_of).values()]
    boards = sorted(asked.ask(Boards), key=lambda row: row.board)
    by = tuple(dict.fromkeys((Dimension.BATCH, *request.by)))
    groups = groupings(asked, by)
    closely = _Closely.of(asked, rows, groups)
    parts = _Parts(
        causes=by_kind(asked.ask(Causes), _board),
        stops=by_kind(asked.ask(Stops), _board),
        doubts=by_kind(asked.ask(Doubts), _board),
        repaired=by_kind(request.repaired, lambda figures: figures.board),
    )
    reviewed = tuple(
        _board_review(row, [each for each in rows if each.board == row.board], groups[row.board], parts, closely)
        for row in boards
    )
    return Review(
        made=request.made.isoformat(timespec="seconds"),
        looked=_looked(totals, request),
        worth_acting_on=worth_acting_on(reviewed, request.left_out),
        notices=notices(asked, totals, boards, rows),
        boards=reviewed,
        definitions=DEFINITIONS,
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class _Parts:
    """Rows by board type."""

    causes: Mapping[str, list[Causes]]
    stops: Mapping[str, list[Stops]]
    doubts: Mapping[str, list[Doubts]]
    repaired: Mapping[str, list[PartFigures]]


@dataclass(frozen=True, slots=True, kw_only=True)
class _Closely:
    """Rows of the measurements that are looked into closely, by measurement; reference boards by board type."""

    keys: frozenset[Key]
    changed: frozenset[Key]
    bins: Mapping[Key, list[Bin]]
    latest: Mapping[Key, list[Individual]]
    apart: Mapping[Key, list[Outlier]]
    batches: Mapping[Key, list[Measured]]
    golden: Mapping[str, list[Golden]]
    comparisons: Mapping[str, int]

    @classmethod
    def of(cls, asked: Asked, rows: Sequence[Measured], groups: Mapping[str, Sequence[Grouping]]) -> _Closely:
        """Choose the measurements, and ask for their rows alone."""
        chosen = [row for found in by_kind(rows, _board).values() for row in sorted(found, key=_pressing)[:CHARTED]]
        names = sorted({row.name for row in chosen})
        order = {
            (board, group.name): place
            for board, found in groups.items()
            for grouping in found
            if grouping.by is Dimension.BATCH
            for place, group in enumerate(grouping.groups)
        }
        cells = by_kind(asked.ask(Measured, by=("batch",), names=names), lambda row: (key_of(row), row.batch))
        batches = sorted((together(found) for found in cells.values()), key=lambda row: order[row.board, row.batch])
        latest = sorted(asked.ask(Individual, names=names), key=lambda row: row.order)
        by_key = by_kind(batches, key_of)
        keys = frozenset(key_of(row) for row in chosen)
        counts: dict[str, int] = defaultdict(int)
        for key in keys:
            counts[key[0]] += max(0, len(by_key[key]) - 1)
        return cls(
            keys=keys,
            changed=frozenset(changed(rows)),
            bins=by_kind(asked.ask(Bin, names=names), key_of),
            latest=by_kind(latest, key_of),
            apart=by_kind(asked.ask(Outlier), key_of),
            batches=by_key,
            golden=by_kind(asked.ask(Golden, names=names), _board),
            comparisons=counts,
        )


def _board_review(
    row: Boards, rows: Sequence[Measured], groups: Sequence[Grouping], parts: _Parts, closely: _Closely
) -> BoardReview:
    by_batch = next((found.groups for found in groups if found.by is Dimension.BATCH), ())
    stops = parts.stops[row.board]
    return BoardReview(
        board=row.board,
        yields=yields(row, stops, rolled(row.boards, rows, parts.causes[row.board])),
        groupings=tuple(groups),
        pareto=causes.pareto(parts.causes[row.board], row.boards),
        stops=causes.stops(stops),
        stop_chart=causes.stop_chart(by_batch),
        doubts=causes.doubts(parts.doubts[row.board]),
        comparisons=tuple(found for each in groups if (found := comparisons(each)) is not None),
        measurements=tuple(_measurement(each, closely) for each in sorted(rows, key=_as_measured)),
        repaired=tuple(parts.repaired[row.board]),
    )


def _measurement(row: Measured, closely: _Closely) -> MeasurementReview:
    key = key_of(row)
    near = key in closely.keys
    latest, batches = (closely.latest[key], closely.batches[key]) if near else ([], [])
    moments = spread.moments(row)
    margin = spread.margin(row, moments, latest) if moments else None
    capability, no_capability = spread.capability(row, moments, spread.subgroups(batches))
    reference = shifts.reference_means(closely.golden[row.board], row.name, row.unit) if near else {}
    return MeasurementReview(
        what=_what(row, key in closely.changed),
        passed=row.passed,
        failed=row.failed,
        doubtful=row.doubtful,
        unread=row.unread,
        moments=moments,
        margin=margin,
        histogram=spread.histogram(closely.bins[key]) if near else (),
        charts=(*control.board_charts(latest), *control.batch_charts(batches)),
        capability=capability,
        no_capability=no_capability,
        tolerance=spread.tolerance_interval(row, moments),
        part_average=outlying.part_average(row, latest, closely.apart[key]),
        shifts=shifts.shifts(batches, reference, closely.comparisons[row.board]),
        limit_fit=spread.limit_fit(row, moments, margin),
        apart=outlying.far_apart(moments, latest) if moments else "",
    )


def _what(row: Measured, has_changed: bool) -> What:
    return What(
        name=row.name,
        point=row.point,
        measurand=row.measurand,
        load_point=row.load_point,
        unit=row.unit,
        lower=row.lower,
        upper=row.upper,
        changed=has_changed,
    )


def _looked(totals: Totals, request: Request) -> Looked:
    return Looked(
        engine=request.engine,
        batches=totals.batches,
        boards=totals.boards,
        attempts=totals.attempts,
        readings=totals.readings,
        first=_time(totals.first_us),
        last=_time(totals.last_us),
        simulated=bool(totals.simulated),
        waived=totals.waived,
        where=request.where,
        left_out=request.left_out,
    )


def _pressing(row: Measured) -> tuple[bool, int, float, str]:
    """Measurements with limits first; of these what boards did not pass; then what comes nearest to its limits."""
    found = spread.moments(row)
    room = spread.margin(row, found, ()) if found else None
    away = room.in_sd if room is not None and room.in_sd is not None else float("inf")
    return row.judged == 0, -(row.failed + row.doubtful + row.unread), away, row.name


def _as_measured(row: Measured) -> tuple[int, int, str, str, str]:
    load_point = -1 if row.load_point is None else row.load_point
    return _PHASES.get(row.phase, len(_PHASES)), load_point, row.name, row.unit, f"{row.lower} {row.upper}"


def _time(moment_us: int | None) -> str:
    return "" if moment_us is None else (_EPOCH + timedelta(microseconds=moment_us)).isoformat(timespec="seconds")


def _board(row: Boards | Causes | Stops | Doubts | Golden | Measured) -> str:
    return row.board
