"""The three things worth acting on first, in words: what concerns the most boards comes first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from batchtest.review.answers.comparing import sentence
from batchtest.review.answers.model import Advice, BoardReview, Fit, LeftOut, MeasurementReview, Told
from batchtest.review.answers.words import many, said

_MOST = 3
#: Causes that are named where none is ahead.
_MOST_NAMED = 5
#: What may concern a board, or only the station or a limit, weighs half.
_HALF = 0.5


@dataclass(frozen=True, slots=True, kw_only=True)
class _Weighed:
    """An advice and how many boards it concerns, or may concern."""

    boards: float
    advice: Advice


def worth_acting_on(boards: Sequence[BoardReview], left_out: Sequence[LeftOut]) -> tuple[Advice, ...]:
    """At most three sentences, at least one."""
    weighed = [each for board in boards for each in _of_board(board)]
    if left_out:
        some = f"{left_out[0].name}: {left_out[0].why}"
        words = f"{many(len(left_out), 'record or folder', 'records or folders')} in no number here, such as {some}"
        weighed.append(_weigh(len(left_out) * _HALF, words, "left out"))
    ordered = sorted(weighed, key=lambda each: (-each.boards, each.advice.sentence))
    return tuple(each.advice for each in ordered[:_MOST]) or (_nothing(boards),)


def _nothing(boards: Sequence[BoardReview]) -> Advice:
    tested = sum(board.yields.first_pass.of for board in boards)
    return Advice(sentence=f"Nothing stands out among {many(tested, 'board')}.", see="yields")


def _of_board(board: BoardReview) -> Iterable[_Weighed]:
    yield from _cause(board)
    yield from _stops(board)
    yield from _recovered(board)
    yield from _worse(board)
    yield from _apart(board)
    yield from _doubts(board)
    yield from _limits(board)
    yield from _shifted(board)
    yield from _to_come(board)


def _cause(board: BoardReview) -> Iterable[_Weighed]:
    if board.pareto.causes:
        first, missed = board.pareto.causes[0], board.pareto.boards
        whole = f"{board.board}: {missed} of {many(board.pareto.tested, 'board')} did not pass at first"
        leading = [cause.name for cause in board.pareto.causes if cause.boards == first.boards]
        if len(leading) == 1:
            words = f"{whole}, {first.boards} of them by {first.name}; find that cause first"
        else:
            each = "no two by the same cause" if first.boards == 1 else f"no cause is ahead with {first.boards} of them"
            words = f"{whole}, {each}: {', '.join(leading[:_MOST_NAMED])}; diagnose each"
        yield _weigh(first.boards, words, "first causes")


def _stops(board: BoardReview) -> Iterable[_Weighed]:
    if board.stops:
        first, ended = board.stops[0], sum(stop.attempts for stop in board.stops)
        words = (
            f"{board.board}: {many(ended, 'attempt')} told nothing of a board, "
            f"{first.attempts} of them {first.outcome} by {first.cause}; mend the bench, not the boards"
        )
        yield _weigh(ended * _HALF, words, "stopped and refused")


def _recovered(board: BoardReview) -> Iterable[_Weighed]:
    recovered = board.yields.recovered
    if recovered is not None and recovered.count:
        words = (
            f"{board.board}: {recovered.count} of {many(recovered.of, 'board')} that did not pass at first did later, "
            "unchanged; look at contacts, cable and fixture, and keep an eye on these boards: a fault may come and go"
        )
        yield _weigh(recovered.count, words, "recovered on retest")


def _worse(board: BoardReview) -> Iterable[_Weighed]:
    """The clearest difference between groups, by the failures that it stands for."""
    told = [
        (each, found.by, each.p_holm)
        for found in board.comparisons
        for each in found.compared
        if each.told is not Told.CANNOT_TELL
    ]
    if told:
        clearest, by, _ = min(told, key=lambda item: item[2])
        worse = clearest.one_share if clearest.told is Told.WORSE else clearest.other_share
        confounded = next((each.confounded for each in board.groupings if each.by is by), None)
        doubt = f"; but {confounded}" if confounded else ""
        words = f"{board.board}: {sentence(clearest, by)}{doubt}"
        yield _weigh(abs(clearest.difference) * worse.of, words, f"by {by}")


def _apart(board: BoardReview) -> Iterable[_Weighed]:
    found = [(each, each.part_average.outliers) for each in board.measurements if each.part_average]
    apart = [(each, outlier) for each, outliers in found for outlier in outliers]
    if apart:
        each, farthest = max(apart, key=lambda item: abs(item[1].robust_sds))
        boards = len({(outlier.batch, outlier.serial) for _, outlier in apart})
        value = said(farthest.value, each.what.unit)
        words = (
            f"{board.board}: {many(boards, 'board')} passed with a reading that lies apart from its batch, "
            f"farthest {farthest.serial}: {value} at {each.what.name}; look before they ship"
        )
        yield _weigh(boards, words, each.what.name)


def _doubts(board: BoardReview) -> Iterable[_Weighed]:
    if board.doubts:
        first, readings = board.doubts[0], sum(doubt.readings for doubt in board.doubts)
        words = (
            f"{board.board}: {many(readings, 'reading')} in doubt, {first.readings} of them for this reason: "
            f"{first.reason}, most at {first.where[0]}"
        )
        yield _weigh(min(readings, board.pareto.boards) * _HALF, words, "doubtful readings")


def _limits(board: BoardReview) -> Iterable[_Weighed]:
    tight = [
        (each, each.margin.near.count, each.limit_fit.why)
        for each in board.measurements
        if each.limit_fit and each.margin and each.limit_fit.fit is Fit.TIGHT
    ]
    if tight:
        each, near, why = max(tight, key=lambda item: item[1])
        yield _weigh(near * _HALF, f"{board.board}: {each.what.name}: {why}", each.what.name)


def _shifted(board: BoardReview) -> Iterable[_Weighed]:
    """The newest batch's largest told shift, in widths of the limits."""
    shifted = [each for each in board.measurements if each.shifts and each.shifts[-1].told != "cannot tell"]
    if shifted:
        largest = max(shifted, key=_size)
        last = largest.shifts[-1]
        words = f"{board.board}: {largest.what.name} in batch {last.batch} is {last.told} (before: {last.before})"
        yield _weigh(last.count * _HALF * min(1.0, _size(largest)), words, largest.what.name)


def _to_come(board: BoardReview) -> Iterable[_Weighed]:
    """The measurement whose tolerance interval leaves its limits although every board passed it, none of them apart."""
    found = [
        (each, each.capability.ppk, each.tolerance)
        for each in board.measurements
        if each.capability and each.tolerance and each.passed == each.capability.count and not each.apart
    ]
    found = [item for item in found if not item[2].inside_limits]
    if found:
        each, ppk, held = min(found, key=lambda item: item[1])
        words = (
            f"{board.board}: all {many(each.passed, 'board')} passed {each.what.name}, and yet boards to come may not: "
            f"the interval for {100 * held.coverage:g} % of them leaves the limits (Ppk {ppk:.2f})"
        )
        yield _weigh((1 - held.coverage) * each.passed * _HALF, words, each.what.name)


def _size(found: MeasurementReview) -> float:
    """A shift as a share of the room to the nearer limit, at most 1; where there is none, of nothing known."""
    last, spread = found.shifts[-1], found.moments
    ends = [end for end in (found.what.lower, found.what.upper) if end is not None]
    room = min((abs(spread.mean - end) for end in ends), default=0.0) if spread else 0.0
    return min(1.0, abs(last.corrected) / room) if room else 0.0


def _weigh(boards: float, sentence: str, see: str) -> _Weighed:
    return _Weighed(boards=boards, advice=Advice(sentence=f"{sentence}.", see=see))
