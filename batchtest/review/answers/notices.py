"""What a review keeps apart, and what it cannot say: said before any number is read."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from itertools import combinations

from batchtest.review.answers.asked import Asked, Key, key_of
from batchtest.review.answers.words import many, said
from batchtest.review.questions import Boards, Measured, Totals


def changed(rows: Iterable[Measured]) -> set[Key]:
    """Measurements that exist with other limits or another unit too."""
    by_name: dict[tuple[str, str], set[Key]] = defaultdict(set)
    for row in rows:
        by_name[row.board, row.name].add(key_of(row))
    return {key for keys in by_name.values() if len(keys) > 1 for key in keys}


def notices(asked: Asked, totals: Totals, boards: Sequence[Boards], rows: Sequence[Measured]) -> tuple[str, ...]:
    """Sentences, one for each thing that was kept apart or cannot be said."""
    return (
        *_numbers(totals, boards),
        *_changed_limits(rows),
        *_changed_units(rows),
        *_renamed(asked, rows),
    )


def _numbers(totals: Totals, boards: Sequence[Boards]) -> Iterable[str]:
    if totals.others:
        yield f"{many(totals.others, 'attempt')} of the other kind (host or board) in no number of this review"
    if totals.golden:
        yield f"{many(totals.golden, 'attempt')} at reference boards in no yield; they show what the station drifted by"
    for row in boards:
        if row.reworked:
            yield f"{row.board}: {many(row.reworked, 'board')} tested again after a rework; final yield counts them"
        if row.boards == 1:
            yield f"{row.board}: one board was tested; nothing can be compared, and no spread is known"
        elif row.boards and not row.passed:
            yield f"{row.board}: none of {many(row.boards, 'board')} passed at first; means are those of failed boards"


def _changed_limits(rows: Sequence[Measured]) -> Iterable[str]:
    limits: dict[tuple[str, str, str], set[tuple[float | None, float | None]]] = defaultdict(set)
    for row in rows:
        limits[row.board, row.name, row.unit].add((row.lower, row.upper))
    for (board, name, unit), found in limits.items():
        if len(found) > 1:
            shown = sorted(_window(lower, upper, unit) for lower, upper in found)
            yield f"{board}: {name} was judged by different limits, and each is told apart: {'; '.join(shown)}"


def _changed_units(rows: Sequence[Measured]) -> Iterable[str]:
    units: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in rows:
        units[row.board, row.name].add(row.unit)
    for (board, name), found in units.items():
        if len(found) > 1:
            yield f"{board}: {name} was recorded in different units, and each is told apart: {', '.join(sorted(found))}"


def _renamed(asked: Asked, rows: Sequence[Measured]) -> Iterable[str]:
    """Pairs of names that no batch has both of, with all else the same: they are not pooled, but said."""
    alike: dict[tuple[object, ...], list[Measured]] = defaultdict(list)
    for row in rows:
        if row.lower is not None or row.upper is not None:
            kind = (row.phase, row.measurand, row.load_point, row.unit, row.lower, row.upper)
            alike[row.board, *kind].append(row)
    pairs = [
        (one, other)
        for found in alike.values()
        for one, other in combinations(sorted(found, key=lambda row: row.name), 2)
        if one.name != other.name
    ]
    names = sorted({row.name for pair in pairs for row in pair})
    batches: dict[tuple[str, str], set[str]] = defaultdict(set)
    for row in asked.ask(Measured, by=("batch",), names=names) if names else ():
        batches[row.board, row.name].add(row.batch)
    for one, other in pairs:
        if not batches[one.board, one.name] & batches[other.board, other.name]:
            yield (
                f"{one.board}: no batch has both {one.name} and {other.name}, which are alike in all else: perhaps one "
                "was renamed; they are told apart"
            )


def _window(lower: float | None, upper: float | None, unit: str) -> str:
    if lower is not None and upper is not None:
        return f"{said(lower, unit)} to {said(upper, unit)}"
    if lower is not None:
        return f"from {said(lower, unit)}"
    return "no limits" if upper is None else f"up to {said(upper, unit)}"
