"""The laws of diode and transistor junctions, and the limiting that lets Newton's method live with exponentials.

The laws are those that general circuit simulators share, so that results can be compared to microvolts: below three
emission voltages in reverse the current follows a cubic in 1/v, breakdown begins where the current at BV is IBV, and a
leak of `GMIN_S` lies across every junction. The thermal voltage takes the exact constants of the SI; with those of
older simulators it is 29 ppm lower (20 uV on a diode drop), with those of ngspice 39 it differs by 0.34 ppm, a
microvolt or two.

Models are written for 27 C. At other temperatures the thermal voltage is kT/q, and saturation currents grow by the law
of the same simulators with the defaults EG = 1.11 and XTI = 3 (public circuit-simulator source, diode and transistor
temperature set-up); resistors, BV, IBV and current gains stay.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

BOLTZMANN_J_PER_K = 1.380649e-23
ELEMENTARY_CHARGE_C = 1.602176634e-19
ZERO_C_K = 273.15
#: The temperature for which models are written, and what is taken where no other is given.
REFERENCE_C = 27.0
TEMPERATURE_K = REFERENCE_C + ZERO_C_K
THERMAL_VOLTAGE_V = BOLTZMANN_J_PER_K * TEMPERATURE_K / ELEMENTARY_CHARGE_C
#: Energy gap of silicon, eV, and the exponent of temperature in a saturation current: EG and XTI of a model.
ENERGY_GAP_EV, SATURATION_EXPONENT = 1.11, 3.0
#: Leak across every junction, S.
GMIN_S = 1e-12

_LARGEST_EXPONENT = 200.0
_ROOT_TWO = math.sqrt(2.0)


def thermal_voltage(temperature_C: Floats) -> Floats:
    """kT/q, V."""
    return BOLTZMANN_J_PER_K * (temperature_C + ZERO_C_K) / ELEMENTARY_CHARGE_C


def saturation_growth(temperature_C: Floats) -> Floats:
    """Natural logarithm of a saturation current over what it is at 27 C, for an emission coefficient of 1.

    A diode's grows by this over its emission coefficient N, that of a transistor by the whole whatever its NF and NR.
    """
    ratio = (temperature_C + ZERO_C_K) / TEMPERATURE_K
    return (ratio - 1.0) * ENERGY_GAP_EV / thermal_voltage(temperature_C) + SATURATION_EXPONENT * np.log(ratio)


def junction(volts: Floats, emission_V: Floats, saturation_A: Floats) -> tuple[Floats, Floats]:
    """Current (A) and conductance (S) of junctions without their leak.

    Parameters
    ----------
    volts : voltage across each junction.
    emission_V : emission coefficient times thermal voltage.
    saturation_A : saturation current.
    """
    ratio = volts / emission_V
    grown = np.exp(np.clip(ratio, -3.0, _LARGEST_EXPONENT))
    below = np.minimum(ratio, -3.0)
    cube = (3.0 / (below * math.e)) ** 3
    forward = ratio >= -3.0
    current = np.where(forward, grown - 1.0, -1.0 - cube) * saturation_A
    slope = np.where(forward, grown, 3.0 * cube / below) * saturation_A / emission_V
    return current, slope


def breakdown_voltage(
    bv_V: Floats, ibv_A: Floats, saturation_A: Floats, emission_V: Floats, thermal_V: Floats
) -> Floats:
    """Voltage at which the breakdown exponential begins, so that the current at BV is IBV.

    Where IBV is smaller than what the law gives at BV anyway (IS BV / VT), breakdown begins at BV itself.
    """
    share = ibv_A / saturation_A
    small = (share < bv_V / thermal_V) | ~np.isfinite(bv_V)
    share = np.where(small, 1.0, share)
    start = bv_V - emission_V * np.log(1.0 + share)
    for _ in range(4):
        inside = np.where(small, 1.0, share + 1.0 - start / thermal_V)
        start = bv_V - emission_V * np.log(np.maximum(inside, 1.0))
    return np.where(small, bv_V, start)


def broken_down(volts: Floats, start_V: Floats, emission_V: Floats, saturation_A: Floats) -> tuple[Floats, Floats]:
    """Current and conductance of a diode in breakdown (voltage below -start)."""
    grown = saturation_A * np.exp(np.minimum(-(volts + start_V) / emission_V, _LARGEST_EXPONENT))
    return -grown, grown / emission_V


def critical_voltage(emission_V: Floats, saturation_A: Floats) -> Floats:
    """Voltage at which a junction's curve bends most sharply: where limiting begins, and a good place to start from."""
    return emission_V * np.log(emission_V / (_ROOT_TWO * saturation_A))


def limited(new: Floats, old: Floats, emission_V: Floats, critical_V: Floats) -> Floats:
    """Hold back a junction's step in forward direction to what changes its current moderately (logarithmic damping)."""
    step = new - old
    large = (new > critical_V) & (np.abs(step) > 2.0 * emission_V)
    if not large.any():
        return new
    inside = 1.0 + step / emission_V
    from_on = np.where(inside > 0, old + emission_V * np.log(np.maximum(inside, 1e-300)), critical_V)
    from_off = emission_V * np.log(np.maximum(new / emission_V, 1e-300))
    return np.where(large, np.where(old > 0, from_on, from_off), new)
