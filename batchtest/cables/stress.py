"""Parts that bear more than they are rated for: by how much, in which state, and which wires of the cable bring it."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from batchtest.cables.hookup import Hookup, Points
from batchtest.cables.states import State
from batchtest.circuits import Stress
from batchtest.circuits.faults import OPEN_OHM
from batchtest.files.circuit import Rating

Floats = NDArray[np.float64]

#: Quantity of a rating -> its name for people, and its unit.
QUANTITIES: Mapping[str, tuple[str, str]] = {
    "voltage": ("voltage", "V"),
    "current": ("current", "A"),
    "power": ("power", "W"),
    "reverse_base_emitter": ("reverse base-emitter voltage", "V"),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Stressed:
    """What one part bears at its worst.

    Parameters
    ----------
    part : with its place, such as "host.RACC".
    quantity, unit : "voltage" (V), "current" (A), "power" (W) or "reverse base-emitter voltage" (V).
    stress, rating, ratio : what it bears, what it stands, and the one over the other.
    state : the board's state in which that is, such as "no load, drives off".
    pins : board pins of the wires that bring it; () where no single wire does.
    """

    part: str
    quantity: str
    unit: str
    stress: float
    rating: float
    ratio: float
    state: str
    pins: tuple[int, ...] = ()


def worst_of_each(points: Points, states: Sequence[State]) -> tuple[Stressed, ...]:
    """Every rated part in the state and by the quantity that come nearest to its rating or furthest past it.

    Parameters
    ----------
    points : operating points of the states, a row each.

    Returns
    -------
    The parts, the worst first. A state without an operating point says nothing here; see `Points.lost`.
    """
    ratings, names = points.hookup.ratings, [str(states[row]) for row in points.rows]
    found = [_worst(part, stress, ratings[part], names) for part, stress in points.stresses().items()]
    return tuple(sorted((one for one in found if one), key=lambda one: (-one.ratio, one.part)))


def overstressed(points: Points, states: Sequence[State], suspects: Collection[int] = ()) -> tuple[Stressed, ...]:
    """The parts that are over their rating, the worst first, each with the board pins whose wires bring it.

    A wire brings it when, in that state, the part is within its rating with that wire opened.

    Parameters
    ----------
    points : operating points of the states, a row each.
    suspects : board pins in which the cable differs from the right one; they are named where they bring it, the others
        only where none of them does. Where no single wire brings it, all suspects together do.
    """
    over = [one for one in worst_of_each(points, states) if one.ratio > 1.0]
    if not over:
        return ()
    names = [str(state) for state in states]
    relief = _relief(points, sorted({names.index(one.state) for one in over}))
    return tuple(replace(one, pins=_pins(relief[names.index(one.state), one.part], suspects)) for one in over)


def _worst(part: str, stress: Stress, rating: Rating, names: Sequence[str]) -> Stressed | None:
    ratios = stress.ratios(rating)
    if not ratios:
        return None
    key = max(ratios, key=lambda quantity: float(ratios[quantity].max()))
    row = int(ratios[key].argmax())
    quantity, unit = QUANTITIES[key]
    return Stressed(
        part=part,
        quantity=quantity,
        unit=unit,
        stress=float(getattr(stress, key)[row]),
        rating=float(getattr(rating, key)),
        ratio=float(ratios[key][row]),
        state=names[row],
    )


def _relief(points: Points, rows: Sequence[int]) -> dict[tuple[int, str], tuple[int, ...]]:
    """For each of some rows and every part the board pins of those wires without which it is within its rating."""
    wires = _wires(points.hookup)
    trials = [points.values[rows] for _ in wires]
    for values, columns in zip(trials, wires.values(), strict=True):
        values[:, columns] = OPEN_OHM
    shares = points.hookup.solve(np.concatenate(trials)).shares()
    return {
        (row, part): tuple(pin for pin, within in zip(wires, share[place :: len(rows)] <= 1.0, strict=True) if within)
        for part, share in shares.items()
        for place, row in enumerate(rows)
    }


def _wires(hookup: Hookup) -> dict[int, list[int]]:
    """Board pin -> columns of part values with the resistance of its wires."""
    found: dict[int, list[int]] = {}
    for column, part in enumerate(hookup.assembly.parameters.parts):
        if part.startswith("cable.W"):
            pin, _, _ = part.removeprefix("cable.W").partition("-")
            found.setdefault(int(pin), []).append(column)
    return found


def _pins(relieving: tuple[int, ...], suspects: Collection[int]) -> tuple[int, ...]:
    return tuple(pin for pin in relieving if pin in suspects) or relieving or tuple(sorted(suspects))
