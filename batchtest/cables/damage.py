"""What a cable would burn: host, cable and board solved as one circuit in every state, and what burns after that."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from batchtest.cables.astray import Comparison
from batchtest.cables.hookup import Feed, Hookup, Points
from batchtest.cables.states import State, state_values, states_of
from batchtest.cables.stress import Stressed, overstressed, worst_of_each
from batchtest.cables.wiring import differences
from batchtest.files.cable import CableFile
from batchtest.files.circuit import CircuitFile

#: How many parts burn one after the other before nobody looks any further.
DEEPEST = 4
#: Which of two parts burns first cannot be told from ratios this close to the worst; each of them is followed.
CLOSE = 0.8


@dataclass(frozen=True, slots=True)
class Cascade:
    """What is over its rating once `after` have burned open, in that order, and what is astray then.

    Nothing stressed and nothing unsolved: nothing more burns.
    """

    after: tuple[str, ...]
    stressed: tuple[Stressed, ...]
    astray: tuple[str, ...] = ()
    unsolved: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Damage:
    """What a cable does between a host and a board.

    Attributes
    ----------
    host, cable, board : their names.
    nearest : the part that comes nearest to its rating, or furthest past it; None where nothing is rated or solved.
    stressed : parts over their rating, the worst first.
    next : what burns next, for every part that may burn first: it alone, then with those that follow it.
    astray : what is wrong compared with the right cable, each in a sentence. Voltages are against the host's n0.
    unsolved : states without an operating point: nothing is known of them, least of all that they are harmless.
    """

    host: str
    cable: str
    board: str
    nearest: Stressed | None
    stressed: tuple[Stressed, ...]
    next: tuple[Cascade, ...]
    astray: tuple[str, ...]
    unsolved: tuple[str, ...]

    @property
    def harmless(self) -> bool:
        """Whether every state was solved and no part is over its rating in any."""
        return not self.stressed and not self.unsolved


def damage(
    host: CircuitFile,
    cable: CableFile,
    board: CircuitFile,
    *,
    name: str,
    right: CableFile | None = None,
    feed: Feed | None = None,
    deep: bool = True,
) -> Damage:
    """What becomes of host and board when a cable joins them and the power is on.

    Parts have their nominal values; see `states_of` for the states.

    Parameters
    ----------
    name : of the cable.
    right : the cable that should be there; without it nothing can be said of what goes astray.
    feed : the bench supply, for a host without a source of its own.
    deep : look for what burns next as well.

    Raises
    ------
    SetupError : nothing feeds the circuit, or the cable goes to a pin that is not there.
    """
    case = _Case.of(host, cable, board, right, feed)
    hookup = Hookup.of(host, cable, board, feed)
    points = case.solve(hookup)
    found = case.judge(points, ())
    return Damage(
        host=host.name,
        cable=name,
        board=board.name,
        nearest=next(iter(worst_of_each(points, case.states)), None),
        stressed=found.stressed,
        next=tuple(case.cascades(hookup, found.stressed)) if deep else (),
        astray=found.astray,
        unsolved=found.unsolved,
    )


@dataclass(frozen=True, slots=True)
class _Case:
    """What stays the same while parts burn: states, the cable, and how it would be with the right one."""

    states: tuple[State, ...]
    cable: CableFile
    suspects: tuple[int, ...]
    reference: Points | None

    @classmethod
    def of(
        cls, host: CircuitFile, cable: CableFile, board: CircuitFile, right: CableFile | None, feed: Feed | None
    ) -> _Case:
        states = states_of(board)
        if right is None:
            return cls(states, cable, (), None)
        reference = Hookup.of(host, right, board, feed)
        suspects = tuple(difference.board_pin for difference in differences(right, cable))
        return cls(states, cable, suspects, reference.solve(state_values(reference.assembly, board, states)))

    def solve(self, hookup: Hookup) -> Points:
        return hookup.solve(state_values(hookup.assembly, hookup.board, self.states))

    def judge(self, points: Points, after: tuple[str, ...]) -> Cascade:
        lost = [str(self.states[row]) for row in points.lost]
        astray: tuple[str, ...] = ()
        if self.reference is not None:
            astray = Comparison(self.states, self.reference, points, self.cable).astray()
            lost += [f"right cable: {self.states[row]}" for row in self.reference.lost]
        return Cascade(after, overstressed(points, self.states, self.suspects), astray, tuple(lost))

    def cascades(self, hookup: Hookup, stressed: tuple[Stressed, ...]) -> Iterator[Cascade]:
        """Every part that may burn first, and those that follow it; one of several that bear the same, as in series."""
        told: set[tuple[str, str, float]] = set()
        for first in stressed:
            borne = first.quantity, first.state, round(first.stress, 6)
            if first.ratio >= CLOSE * stressed[0].ratio and borne not in told:
                told.add(borne)
                yield from self._chain(hookup, first.part)

    def _chain(self, hookup: Hookup, part: str) -> Iterator[Cascade]:
        """What burns after a part, the worst each time."""
        for _ in range(DEEPEST):
            hookup = hookup.without(part)
            link = self.judge(self.solve(hookup), hookup.burned)
            yield link
            if not link.stressed:
                return
            part = link.stressed[0].part
