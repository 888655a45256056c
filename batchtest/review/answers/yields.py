"""Yields of a board type and of its groups, each share with its intervals."""

from __future__ import annotations

import math
from collections import Counter, defaultdict
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace

from batchtest.review.answers.asked import FIELDS, Asked, by_kind
from batchtest.review.answers.model import (
    CONFIDENCE,
    Dimension,
    Group,
    Grouping,
    Interval,
    RolledYield,
    Share,
    Yields,
)
from batchtest.review.questions import Boards, Causes, Cell, Measured, Spots, Stops
from batchtest.review.stats.proportions import exact_interval, wilson_interval

#: With more groups than this the yields of single steps are not looked up for each.
_MOST_ROLLED = 200
#: Groups that come in order of time.
_BY_TIME = {Dimension.BATCH, Dimension.MONTH}
#: Dimensions that group readings of the same boards.
OF_READINGS = {Dimension.RAIL, Dimension.LOAD_POINT}
_NONE = Boards(
    board="", revision="", batch="", fixture="", cable="", station="", operator="", month="",
    boards=0, untested=0, passed=0, failed=0, doubtful=0, passed_last=0, retested=0, retests=0, recovered=0, reworked=0,
    waived=0, simulated=0, first_us=0, last_us=0,
)  # fmt: skip


def share(count: int, of: int) -> Share:
    """A count out of a count, with both intervals."""
    return Share(
        count=count,
        of=of,
        share=count / of if of else None,
        exact=Interval.of(exact_interval(count, of, CONFIDENCE)),
        wilson=Interval.of(wilson_interval(count, of, CONFIDENCE)),
    )


def rolled(tested: int, steps: Iterable[Measured], causes: Iterable[Causes]) -> RolledYield:
    """Product, over all measurements, of the share of boards that did not first fail there.

    A board counts against its first cause alone: what follows from that fault does not lower the yield again. As an
    interval stands Wilson's, with the boards of the least seen step: for independent steps the variance of a product of
    shares, share squared times the sum of (1 - p) / (n p), is never above that of one share of n boards.

    Parameters
    ----------
    tested : boards with a first attempt; a first cause that is no measurement, such as an abort, is a step of them all.
    steps : measurements; those whose limits changed are one step by their name.
    """
    seen: Counter[str] = Counter()
    missed: Counter[str] = Counter()
    for step in steps:
        seen[step.name] += step.judged
    for cause in causes:
        missed[cause.cause] += cause.boards
    counted = {name: judged for name, judged in seen.items() if judged}
    counted |= {name: tested for name, boards in missed.items() if counted.get(name, 0) < boards}
    if not counted:
        return RolledYield(share=None, steps=0, boards=0, interval=Interval(lower=0.0, upper=1.0))
    product = math.prod((of - missed[name]) / of for name, of in counted.items())
    least = min(counted.values())
    return RolledYield(
        share=product,
        steps=len(counted),
        boards=least,
        interval=Interval.of(wilson_interval(product * least, least, CONFIDENCE)),
    )


def yields(boards: Boards, stops: Iterable[Stops], product: RolledYield | None) -> Yields:
    """Yields of a group.

    Parameters
    ----------
    stops : attempts of the group that told nothing of a board.
    product : its rolled-throughput yield; `None` where that was not worked out.
    """
    ended = list(stops)
    missed = boards.failed + boards.doubtful
    return Yields(
        begun=boards.boards + boards.untested,
        never_tested=boards.untested,
        first_pass=share(boards.passed, boards.boards),
        final=share(boards.passed_last, boards.boards),
        rolled=product,
        retested=share(boards.retested, boards.boards),
        retests=boards.retests,
        retests_per_board=boards.retests / boards.boards if boards.boards else None,
        recovered=share(boards.recovered, missed),
        stopped=sum(each.attempts for each in ended if each.outcome == "stopped"),
        refused=sum(each.attempts for each in ended if each.outcome == "refused"),
    )


def spot_yields(spot: Spots) -> Yields:
    """Boards by their readings at one rail or load point alone."""
    return Yields(
        begun=spot.boards,
        never_tested=0,
        first_pass=share(spot.passed, spot.boards),
        final=None,
        rolled=None,
        retested=None,
        retests=0,
        retests_per_board=None,
        recovered=None,
        stopped=0,
        refused=0,
    )


def groupings(asked: Asked, by: Sequence[Dimension]) -> dict[str, list[Grouping]]:
    """All groups of every board type, by board type."""
    found: dict[str, list[Grouping]] = defaultdict(list)
    for dimension in by:
        of = _spots if dimension in OF_READINGS else _groups
        for board, grouping in of(asked, dimension).items():
            found[board].append(grouping)
    return found


def _spots(asked: Asked, dimension: Dimension) -> dict[str, Grouping]:
    field = FIELDS[dimension]
    groups: dict[str, list[Group]] = defaultdict(list)
    rows = [row for row in asked.ask(Spots, by=(field,)) if getattr(row, field) not in ("", None)]
    for row in sorted(rows, key=lambda row: getattr(row, field)):
        name = row.point if dimension is Dimension.RAIL else str(1 + (row.load_point or 0))
        groups[row.board].append(Group(name=name, yields=spot_yields(row)))
    return {board: Grouping(by=dimension, groups=tuple(found)) for board, found in groups.items()}


def _groups(asked: Asked, dimension: Dimension) -> dict[str, Grouping]:
    field = FIELDS[dimension]

    def group(row: Cell) -> tuple[str, str]:
        return row.board, str(getattr(row, field))

    boards = {group(row): row for row in asked.ask(Boards, by=(field,))}
    stops = by_kind(asked.ask(Stops, by=(field,)), group)
    products = _products(asked, boards, field, group)
    confounded = _confounded(asked, dimension)
    found: dict[str, list[tuple[tuple[int, str], Group]]] = defaultdict(list)
    for of in boards.keys() | stops.keys():
        board, name = of
        row = boards.get(of, replace(_NONE, board=board))
        told = Group(name=name, yields=yields(row, stops.get(of, []), products.get(of)))
        found[board].append(((row.first_us if dimension in _BY_TIME else 0, name), told))
    return {
        board: Grouping(
            by=dimension,
            groups=tuple(group for _, group in sorted(groups, key=lambda item: item[0])),
            confounded=confounded.get(board),
        )
        for board, groups in found.items()
    }


def _products(
    asked: Asked, boards: Mapping[tuple[str, str], Boards], field: str, group: Callable[[Cell], tuple[str, str]]
) -> dict[tuple[str, str], RolledYield]:
    """Rolled-throughput yield of each group; nothing where there are too many groups to look up every step of each."""
    if len(boards) > _MOST_ROLLED:
        return {}
    steps = by_kind(asked.ask(Measured, by=(field,)), group)
    causes = by_kind(asked.ask(Causes, by=(field,)), group)
    return {of: rolled(row.boards, steps.get(of, []), causes.get(of, [])) for of, row in boards.items()}


def _confounded(asked: Asked, dimension: Dimension) -> Mapping[str, str]:
    """Board types whose groups share no batch, and what that means."""
    if dimension in _BY_TIME:
        return {}
    field = FIELDS[dimension]
    groups: dict[str, dict[str, set[str]]] = defaultdict(lambda: defaultdict(set))
    for row in asked.ask(Boards, by=("batch", field)):
        if row.boards:
            groups[row.board][row.batch].add(getattr(row, field))
    return {
        board: f"no batch was tested with more than one {dimension}: a difference may be that of the batches"
        for board, batches in groups.items()
        if len(set().union(*batches.values())) > 1 and all(len(names) == 1 for names in batches.values())
    }
