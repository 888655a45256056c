"""Copper leads: cross-section of a gauge number, resistance of a core, voltage lost on the way there and back."""

from __future__ import annotations

import math

from batchtest.capacity.model import Lead

#: Resistivity of annealed copper at 20 C, ohm m, and its temperature coefficient referred to 20 C, 1/K (IEC 60028).
COPPER_OHM_M = 1.7241e-8
COPPER_PER_K = 0.00393


def area_of_awg(number: int) -> float:
    """Cross-section of a solid wire of a gauge number, mm2, from the diameter by ASTM B258.

    Raises
    ------
    ValueError : not a whole number from 0 to 40.

    Examples
    --------
    >>> round(area_of_awg(24), 3)
    0.205
    """
    if number not in range(41):
        raise ValueError(f"has gauge {number}; write one from 0 to 40, or the cross-section in mm2")
    diameter_mm: float = 0.127 * 92 ** ((36 - number) / 39)
    return math.pi * diameter_mm**2 / 4


def core_ohm(lead: Lead, at_C: float) -> float:
    """Resistance of one core of a lead at a temperature, ohm."""
    return COPPER_OHM_M * (1 + COPPER_PER_K * (at_C - 20)) * lead.length_m / (lead.area_mm2 * 1e-6)


def drop_V(lead: Lead, current_A: float, at_C: float) -> float:
    """Voltage that a lead takes, both cores, V."""
    return 2 * core_ohm(lead, at_C) * current_A
