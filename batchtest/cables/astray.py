"""What goes astray with a wrong cable though nothing burns: drives that pull another pin, pins at another voltage."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.cables.hookup import Points
from batchtest.cables.states import State, logic_parts
from batchtest.files.cable import CableFile
from batchtest.quantities import show

Floats = NDArray[np.float64]

#: A pin is astray when it is off by more than this share of the highest voltage at any pin, and by more than this, V.
FAR, FAR_V = 0.1, 0.5


@dataclass(frozen=True, slots=True)
class Comparison:
    """One host and board by the right cable and by another, a row for each state; `cable` is the other one."""

    states: tuple[State, ...]
    right: Points
    other: Points
    cable: CableFile

    def astray(self) -> tuple[str, ...]:
        """What is wrong, each in one plain sentence with pins, drives first; () where all is as it should be.

        What a state without an operating point would say is left out.
        """
        return (*self._drives(), *self._pins())

    def _drives(self) -> Iterator[str]:
        """Drives that pull another host pin than by the right cable."""
        should = {part: _pulled(self.right, self.states, part) for part in logic_parts(self.right.hookup.board)}
        for part, (board_pins, right) in should.items():
            pulled = _pulled(self.other, self.states, part)[1]
            if pulled == right or not board_pins:
                continue
            others = {pin for name, (_, pins) in should.items() if name != part for pin in pins}
            backwards = ": it runs backwards" if pulled and others.issuperset(pulled) else ""
            drive = f"drive at board pin {_listed(board_pins)} pulls"
            if pulled:
                yield f"{drive} host pin {_listed(pulled)}, not {_listed(right) or 'any'}{backwards}"
            else:
                yield f"{drive} no host pin; it should pull {_listed(right)}"

    def _pins(self) -> Iterator[str]:
        """Pins that stand elsewhere while no drive is on; where a wire joins two of them, the board's."""
        quiet = [row for row, state in enumerate(self.states) if not state.on]
        told: set[int] = set()
        for place in ("board", "host"):
            right, other = _volts(self.right, place)[:, quiet], _volts(self.other, place)[:, quiet]
            off = np.nan_to_num(np.abs(other - right)) * _in_use(self.right, place)[:, None]
            for index in np.flatnonzero(off.max(axis=1) > _far_V(self.right)):
                pin, row = int(index) + 1, int(off[index].argmax())
                joined = {wire.board for wire in self.cable.wires if wire.host == pin}
                if place == "board" or not told & joined:
                    is_V, should_V = show(other[index, row], "V", 3), show(right[index, row], "V", 3)
                    port = _ports(self.right, place)[index]
                    yield f"{place} pin {pin} ({port}) stands {is_V} above n0, not {should_V}"
                told |= {pin} if place == "board" else set()


def _pulled(points: Points, states: Sequence[State], part: str) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Board pins and host pins whose voltage falls when one drive is switched on."""
    on, off = states.index(State("half load", (part,))), states.index(State("half load"))
    falls = [_volts(points, place)[:, off] - _volts(points, place)[:, on] for place in ("board", "host")]
    board, host = (np.flatnonzero(np.nan_to_num(fall) > _far_V(points)) + 1 for fall in falls)
    return tuple(board.tolist()), tuple(host.tolist())


def _volts(points: Points, place: str) -> Floats:
    """(pins, rows) voltage of every pin of a connector against the host's n0, V."""
    return np.array([points.volts(f"{place}.{pin}") for pin, _ in enumerate(_ports(points, place), start=1)])


def _ports(points: Points, place: str) -> tuple[str, ...]:
    return (points.hookup.board if place == "board" else points.hookup.host).netlist.ports


def _in_use(points: Points, place: str) -> NDArray[np.bool_]:
    """(pins,) whether any part hangs on a pin; one that is not connected stands where a wire happens to bring it."""
    circuit = points.hookup.board if place == "board" else points.hookup.host
    used = {node for card in circuit.netlist.cards for node in card.nodes}
    return np.array([port in used for port in circuit.netlist.ports])


def _far_V(points: Points) -> float:
    """How far is far, V."""
    return max(FAR_V, FAR * float(np.nan_to_num(np.abs(_volts(points, "host"))).max()))


def _listed(pins: Sequence[int]) -> str:
    return " and ".join(map(str, pins))
