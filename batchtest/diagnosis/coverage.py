"""Which faults a procedure sees: attempts at boards with each fault, played through from the table alone."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.diagnosis.groups import APART, bench_sigma, distances
from batchtest.diagnosis.model import Coverage, Ends, FaultTable, Flags, Floats, Kind, Sight
from batchtest.diagnosis.readings import COLD
from batchtest.judging.uncertainty import COVERAGE
from batchtest.nouns import Measurand

#: Boards played through for each fault.
BOARDS = 64
#: A fault is seen where more than this share of boards with it do not pass.
SEEN = 0.5
#: A fault whose readings lie nearer to a good board's is in none of them, standard deviations of all together.
INVISIBLE = 3.0

_DERIVED = (Measurand.REGULATION, Measurand.OUTPUT_RESISTANCE)


def coverage(table: FaultTable) -> Coverage:
    """What the procedure sees of every fault of board and nest.

    Limits are taken as guarded: a reading within its expanded uncertainty of a limit does not pass.
    """
    player = _Player.of(table)
    rows = [row for row, one in enumerate(table.hypotheses) if one.kind in (Kind.BOARD, Kind.FIXTURE)]
    played = {row: player.play(row) for row in rows}
    alike = _alike(table, rows, played)
    sights = [_sight(table, row, played[row], alike[row]) for row in rows]
    return Coverage(
        board=table.board,
        fixture=table.fixture,
        seen=tuple(one for one in sights if one.fails > SEEN),
        within_limits=tuple(one for one in sights if one.fails <= SEEN and one.sigmas >= INVISIBLE),
        invisible=tuple(one for one in sights if one.fails <= SEEN and one.sigmas < INVISIBLE),
    )


@dataclass(frozen=True, slots=True)
class Played:
    """Attempts at boards with one fault: share that did not pass, what failed first, columns that most read."""

    fails: float
    first: str
    read: NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class _Player:
    table: FaultTable
    normals: Floats
    chances: Floats

    @classmethod
    def of(cls, table: FaultTable) -> _Player:
        """The same boards for every fault."""
        draws = np.random.default_rng(31)
        normals = draws.normal(size=(BOARDS, table.spread.shape[2]))
        return cls(table, normals, draws.uniform(size=(BOARDS, 1)))

    def play(self, row: int) -> Played:
        """Play the procedure through."""
        table = self.table
        mine = [index for index, column in enumerate(table.columns) if not column.probe]
        wrong = self._wrong(row, np.array(mine, np.intp))
        going = np.ones(BOARDS, bool)
        read, failed = np.zeros(len(mine)), np.zeros(BOARDS, bool)
        first: Counter[str] = Counter()
        state = ""
        for place, index in enumerate(mine):
            column = table.columns[index]
            if column.state != state:
                going &= ~failed if state == COLD else True
                limited = going & self._limited(row, column.state)
                going &= ~limited
                first.update({f"supply's current limit, {column.state}": int((limited & ~failed).sum())})
                failed |= limited
                state = column.state
            read[place] = going.mean()
            bad = wrong[:, place] & going
            first[column.name] += int((bad & ~failed).sum())
            failed |= bad
            if column.ends is Ends.AT_ONCE:
                going &= ~bad
        name = first.most_common(1)[0][0] if failed.any() else ""
        return Played(float(failed.mean()), name, np.array(mine, np.intp)[read > SEEN])

    def _limited(self, row: int, state: str) -> Flags:
        """(boards,) whom the supply's limit stops in a state."""
        if state not in self.table.states:
            return np.zeros(BOARDS, bool)
        share = np.nan_to_num(self.table.limiting[row, self.table.states.index(state)], nan=1.0)
        limited: Flags = self.chances[:, 0] < share
        return limited

    def _wrong(self, row: int, places: NDArray[np.intp]) -> Flags:
        """(boards, columns) readings that do not pass."""
        table = self.table
        columns = [table.columns[place] for place in places]
        values = table.mean[row, places] + self.normals @ table.spread[row, places].astype(float).T
        lower, upper, abort_lower, abort_upper = (
            np.array([getattr(column, name) for column in columns])
            for name in ("lower", "upper", "abort_lower", "abort_upper")
        )
        guard = COVERAGE * bench_sigma(table, places, row)
        over = self.chances < np.nan_to_num(table.over[row, places], nan=1.0)[None]
        outside = (values < lower + guard) | (values > upper - guard) | (values < abort_lower) | (values > abort_upper)
        volts = np.array([column.measurand is Measurand.VOLTAGE for column in columns])
        found: Flags = np.where(over, np.isfinite(upper) | volts, outside & ~np.isnan(values))
        return found


def _alike(table: FaultTable, rows: Sequence[int], played: dict[int, Played]) -> dict[int, list[int]]:
    """For each fault those whose readings cannot be told from its, of the readings that both let be taken."""
    found: dict[int, list[int]] = {row: [] for row in rows}
    usable = {index for index, column in enumerate(table.columns) if column.measurand not in _DERIVED}
    for number, row in enumerate(rows[:-1]):
        same = [other for other in rows[number + 1 :] if np.array_equal(played[other].read, played[row].read)]
        places = np.array([place for place in played[row].read if place in usable], np.intp)
        if not same or not places.size:
            continue
        near = distances(table, row, same, places, bench_sigma(table, places, row)) < APART
        for other in np.array(same)[near]:
            found[row].append(int(other))
            found[int(other)].append(row)
    return found


def _sight(table: FaultTable, row: int, played: Played, alike: Sequence[int]) -> Sight:
    places = np.array([place for place in played.read if table.columns[place].measurand not in _DERIVED], np.intp)
    sigmas = distances(table, 0, [row], places, bench_sigma(table, places)) if places.size else np.array([np.inf])
    return Sight(
        hypothesis=table.hypotheses[row],
        fails=played.fails,
        first=played.first,
        sigmas=float(sigmas[0]),
        alike=tuple(table.hypotheses[other].name for other in alike),
    )
