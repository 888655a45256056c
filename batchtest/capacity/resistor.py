"""A series resistor's heat against what it may shed, which falls in a straight line with the ambient temperature."""

from __future__ import annotations

import math

from batchtest.capacity.derating import share
from batchtest.capacity.model import Derating, Heat, ResistorData


def allowed_W(resistor: ResistorData, at_C: float) -> float:
    """What the resistor may shed at an ambient, W; nothing from `none_at_C` on."""
    if at_C >= resistor.none_at_C:
        return 0.0
    line = Derating(knots=((resistor.full_to_C, 1.0), (resistor.none_at_C, 0.0)))
    return resistor.rating_W * share(line, at_C)


def highest_ohm(resistor: ResistorData) -> float:
    """The resistance at the upper end of its tolerance, ohm: where a current heats it most."""
    return resistor.ohm * (1 + resistor.tolerance)


def heat(resistor: ResistorData, current_A: float, at_C: float) -> Heat:
    """Heat at a current that flows for good, against what is allowed at an ambient."""
    heat_W = current_A**2 * highest_ohm(resistor)
    return Heat(current_A=current_A, heat_W=heat_W, allowed_W=allowed_W(resistor, at_C))


def largest_A(resistor: ResistorData, at_C: float) -> float:
    """The current that heats the resistor to just what is allowed, A."""
    return math.sqrt(allowed_W(resistor, at_C) / highest_ohm(resistor))
