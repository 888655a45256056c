"""What is left of a rating at an ambient temperature, from the knots of a data sheet's curve."""

from __future__ import annotations

from itertools import pairwise

from batchtest.capacity.model import Derating


def share(derating: Derating, at_C: float) -> float:
    """Share of the rating at an ambient, straight between the knots.

    Below the coldest knot the coldest share holds: less than the part can do, never more.

    Raises
    ------
    ValueError : warmer than the last knot; nobody says what is left there.
    """
    knots = derating.knots
    if at_C > knots[-1][0]:
        raise ValueError(f"the derating ends at {knots[-1][0]:g} C, {at_C:g} C is asked; add what the data sheet says")
    if at_C <= knots[0][0]:
        return knots[0][1]
    return next(
        low + (high - low) * (at_C - cooler) / (warmer - cooler)
        for (cooler, low), (warmer, high) in pairwise(knots)
        if at_C <= warmer
    )
