"""Values that are differences of readings: load regulation and output resistance, with what the readings share.

The readings of one rail come from one meter on one range, the currents from one load. What the readings share either
cancels in a difference or scales it, so it must not be counted once per reading.

Model, with reading v_i at the set current I_i, and errors of which only the standard uncertainty is known::

    true voltage  V_i = (1 + g) v_i + o + n_i    g, o: gain and offset of the meter, the same in every reading;
                                                 n_i: noise, independent
    true current  I_i (1 + h) + p d_i            h, p: gain and offset of the load; d_i = 0 where nothing is drawn,
                                                 else 1

Both results are linear in the voltages, y = sum a_i V_i with sum a_i = 0, so the meter's offset cancels. A rail that
falls by R for each ampere turns an error of the current into R times it, and R is known from the readings themselves.
To first order (JCGM 100:2008, 5.1.2 and 5.2.2)::

    u(y)^2 = y^2 (u_g^2 + u_h^2) + (R u_p sum a_i d_i)^2 + sum a_i^2 u(n_i)^2
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from batchtest.files.bench import AmperesAccuracy, VoltsAccuracy
from batchtest.judging.accuracy import gain_half_width, offset_half_width
from batchtest.judging.uncertainty import COVERAGE, rectangular, type_a
from batchtest.nouns import Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Shared:
    """Standard uncertainties that the readings of one rail share: gains as ratios, the load's offset in A."""

    meter_gain: float
    load_gain: float = 0.0
    load_offset_A: float = 0.0


def shared(meter: VoltsAccuracy, load: AmperesAccuracy | None, *, ambient_C: float, calibrated_at_C: float) -> Shared:
    """What the readings of one rail share, from the accuracy rows in use; `None` where no load draws from the rail."""
    meter_gain = rectangular(gain_half_width(meter, ambient_C, calibrated_at_C))
    if load is None:
        return Shared(meter_gain=meter_gain)
    return Shared(
        meter_gain=meter_gain,
        load_gain=rectangular(gain_half_width(load, ambient_C, calibrated_at_C)),
        load_offset_A=rectangular(offset_half_width(load, ambient_C, calibrated_at_C)),
    )


def regulation(
    first: Reading, last: Reading, nominal_V: float, *, currents_A: tuple[float, float], shared: Shared
) -> Reading:
    """Load regulation (IEC 61204: load effect) as a ratio: (V_first - V_last) / V_nominal.

    The denominator is the nominal voltage, so that a sagging rail counts positive, a negative rail's too.

    Parameters
    ----------
    first, last : voltages at the first and the last load point, same meter, same range.
    nominal_V : nominal voltage of the rail, V, with its sign.
    currents_A : current drawn from the rail at those load points, A.

    Returns
    -------
    A reading in "%" (a ratio). Without a value where a reading has none, or the load did not hold its current.
    """
    return _combine((first, last), currents_A, (1 / nominal_V, -1 / nominal_V), shared, "%")


def output_resistance(readings: Sequence[Reading], currents_A: Sequence[float], *, shared: Shared) -> Reading:
    """Output resistance -dV/dI in ohm: minus the slope of the least-squares line of voltage against load current.

    A negative rail is counted by its magnitude: a rail that sags has a positive resistance.

    Parameters
    ----------
    readings : voltages at every load point, same meter, same range.
    currents_A : current drawn from the rail at each of them, A.

    Returns
    -------
    A reading in "ohm". Without a value where a reading has none or the load did not hold its current, or where all
    currents are the same.
    """
    slope = slope_weights(currents_A)
    negative_rail = math.fsum(reading.value or 0.0 for reading in readings) < 0
    weights = slope if negative_rail else [-weight for weight in slope]
    return _combine(readings, currents_A, weights, shared, "ohm")


def _combine(
    readings: Sequence[Reading], currents_A: Sequence[float], weights: Sequence[float], shared: Shared, unit: str
) -> Reading:
    """The weighted sum of the readings and its expanded uncertainty, by the formula at the head of this module."""
    values = [reading.value for reading in readings if reading.value is not None and reading.regulated]
    settled = all(reading.settled for reading in readings)
    if len(values) < len(readings) or not any(weights):
        return Reading(value=None, unit=unit, settled=settled)
    result = math.fsum(weight * value for weight, value in zip(weights, values, strict=True))
    fall_ohm = math.fsum(weight * value for weight, value in zip(slope_weights(currents_A), values, strict=True))
    drawing = math.fsum(weight for weight, current in zip(weights, currents_A, strict=True) if current)
    noise = [weight * _noise(reading) for weight, reading in zip(weights, readings, strict=True)]
    uncertainty = COVERAGE * math.hypot(
        result * shared.meter_gain,
        result * shared.load_gain,
        fall_ohm * shared.load_offset_A * drawing,
        *noise,
    )
    return Reading(value=result, unit=unit, count=len(readings), uncertainty=uncertainty, settled=settled)


def slope_weights(currents_A: Sequence[float]) -> list[float]:
    """Weights of the voltages in the least-squares slope, 1/A; all zero where the current does not change."""
    mean_A = math.fsum(currents_A) / len(currents_A)
    square = math.fsum((current - mean_A) ** 2 for current in currents_A)
    return [(current - mean_A) / square if square else 0.0 for current in currents_A]


def _noise(reading: Reading) -> float:
    """Standard uncertainty of a reading's own scatter, V; of the whole reading where the scatter is not known."""
    if reading.spread is None:
        return math.nan if reading.uncertainty is None else reading.uncertainty / COVERAGE
    return type_a(reading.spread, reading.count, reading.nplc)
