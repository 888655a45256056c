"""All that can be said of the cables of a library: who fits where, what a wrong one burns, how they are told apart."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from batchtest.cables.apart import Pair, compare
from batchtest.cables.blind import Blind, blind_faults
from batchtest.cables.damage import Damage, damage
from batchtest.cables.hookup import Feed
from batchtest.cables.ids import Proposal, propose_all
from batchtest.cables.readings import ColdBench, Harness
from batchtest.cables.wiring import Difference, differences
from batchtest.files.bench import BenchFile
from batchtest.files.cable import CableFile
from batchtest.files.fixture import FixtureFile
from batchtest.files.library import Library

#: Boards, hosts and cables drawn for one expectation in a report; every reading of every point is solved for it.
DRAWN = 24

CellVerdict = Literal["fits", "harmless but wrong", "destroys"]
#: Told what is being worked out, before it is.
Progress = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Cell:
    """One cable between one host and one board.

    What a cable's file says of it is not believed: one that burns something `destroys`, and one that leads something
    astray is wrong, whatever it takes.
    """

    host: str
    cable: str
    board: str
    verdict: CellVerdict
    differences: tuple[Difference, ...]
    damage: Damage


@dataclass(frozen=True, slots=True)
class Report:
    """Cells for every cable x board x host; pairs for every fixture; cures; faults inside a cable that stay unseen."""

    cells: tuple[Cell, ...]
    pairs: tuple[Pair, ...]
    proposals: tuple[Proposal, ...]
    blind: tuple[Blind, ...]
    cables: Mapping[str, CableFile]


def report(
    library: Library, bench: BenchFile, fixtures: Sequence[str] = (), progress: Progress = lambda doing: None
) -> Report:
    """Work out everything.

    Parameters
    ----------
    bench : its meter tells the cables apart, its supply feeds the nests.
    fixtures : names of those wanted; all where it is empty.

    Raises
    ------
    NoOperatingPoint : a healthy circuit has no solution.
    """
    wanted = {name: library.fixtures[name] for name in fixtures or library.fixtures}
    cells = tuple(cells_of(library, bench, wanted, progress))
    pairs: list[Pair] = []
    proposals: dict[str, Proposal] = {}
    blind: list[Blind] = []
    for name, fixture in wanted.items():
        for board in fixture.takes:
            progress(f"telling cables apart at {name} with {board}")
            harness = Harness(library.hosts[fixture.circuit], library.boards[board], ColdBench(bench, fixture), DRAWN)
            found = list(_pairs(library, harness, name, board))
            pairs += found
            close = [(pair.one, pair.other) for pair in found if not pair.apart]
            proposals |= {one.cable: one for one in propose_all(harness, library.cables, close)}
            progress(f"looking for faults inside {fixture.cable} that {name} does not see")
            blind += blind_faults(library, harness, name, feed_of(fixture, bench))
    return Report(cells, tuple(pairs), tuple(proposals.values()), tuple(blind), library.cables)


def feed_of(fixture: FixtureFile, bench: BenchFile) -> Feed:
    """The bench's supply at a fixture: the last step of the soft start, with the largest current it can give."""
    plus, minus = fixture.power.into.split("-")
    largest_A = max(row.range for row in bench.supply.accuracy.current)
    return Feed(plus, minus, float(fixture.power.soft_start[-1]), float(largest_A))


def fits(library: Library, host: str, cable: str, board: str) -> bool:
    """Whether a cable is made for this host (or for a fixture in its place) and this board."""
    known = library.cables[cable]
    by_fixture = any(
        fixture.circuit == host and fixture.cable == cable and board in fixture.takes
        for fixture in library.fixtures.values()
    )
    return board in known.takes and (host in known.hosts or by_fixture)


def right_cable(library: Library, host: str, board: str) -> str:
    """The cable that a board is tested with, if it fits the host, or else the first that fits; "" where none does."""
    tested = [fixture.cable for fixture in library.fixtures.values() if board in fixture.takes]
    return next((name for name in (*tested, *library.cables) if fits(library, host, name, board)), "")


def cells_of(
    library: Library, bench: BenchFile, fixtures: Mapping[str, FixtureFile], progress: Progress = lambda doing: None
) -> Iterator[Cell]:
    """Every cable between every host and board; a fixture only with boards that it takes."""
    for host, board, feed in _places(library, bench, fixtures):
        right = right_cable(library, host, board)
        own = library.cables[right] if right else None
        for name, cable in library.cables.items():
            progress(f"solving {host} with {board} on {name}")
            found = damage(library.hosts[host], cable, library.boards[board], name=name, right=own, feed=feed)
            fitting = fits(library, host, name, board) and not found.astray
            verdict: CellVerdict = "fits" if fitting else "harmless but wrong"
            yield Cell(
                host=host,
                cable=name,
                board=board,
                verdict=verdict if found.harmless else "destroys",
                differences=differences(own, cable) if own is not None else (),
                damage=found,
            )


def _places(
    library: Library, bench: BenchFile, fixtures: Mapping[str, FixtureFile]
) -> Iterator[tuple[str, str, Feed | None]]:
    """Host (or a fixture's circuit), board, and what feeds it where it has no source of its own."""
    named = {host for cable in library.cables.values() for host in cable.hosts}
    for host in sorted(named):
        for board in library.boards:
            yield host, board, None
    for fixture in fixtures.values():
        if fixture.circuit not in named:
            for board in fixture.takes:
                yield fixture.circuit, board, feed_of(fixture, bench)


def _pairs(library: Library, harness: Harness, fixture: str, board: str) -> Iterator[Pair]:
    for one, other in combinations(library.cables.items(), 2):
        yield Pair(fixture, board, one[0], other[0], tuple(compare(harness, one, other)))
