"""The source resistance of an outlet from a sweep, with its interval, and what else the sweep shows beyond noise.

Model, with the true voltage V(I) of a source that need not be straight, and readings v_i at the set currents I_i::

    V(I_i (1 + h) + p) = v_i (1 + g) + o + n_i     g, o: gain and offset of the meter; h, p: of the load;
                                                   n_i: noise, independent

Every result is a weighted sum of voltages, y = sum w_i V(I_i). To first order, with V' the local slope::

    error of y = g sum w_i v_i + o sum w_i + sum w_i n_i - h sum w_i V'_i I_i - p sum w_i V'_i

The four shared errors are known by their bounds (an accuracy table), so the interval is that of `mixture`. What the
pulses warm is taken out first (`pulses`), and a share of that correction is one more bound. The load draws nothing,
exactly, at open circuit: a line through that point would take in the load's offset, so it is kept out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from batchtest.capacity.lines import straight
from batchtest.capacity.mixture import half_width
from batchtest.capacity.model import Band, Difference, Point, SourceFit
from batchtest.capacity.pulses import DOUBT, without_heat
from batchtest.files.bench import AmperesAccuracy, VoltsAccuracy
from batchtest.judging.accuracy import gain_half_width, offset_half_width
from batchtest.judging.uncertainty import COVERAGE, type_a
from batchtest.nouns import Reading

Floats = NDArray[np.float64]

#: Pairs read on the way up and down from which their differences say what the noise is.
ENOUGH_PAIRS = 4


@dataclass(frozen=True, slots=True, kw_only=True)
class Errors:
    """Bounds of the errors that all readings of a sweep share: gains as ratios, offsets in V and A."""

    meter_gain: float
    meter_offset_V: float
    load_gain: float
    load_offset_A: float


def errors(
    meter: VoltsAccuracy, load: AmperesAccuracy, *, ambient_C: float, meter_at_C: float, load_at_C: float
) -> Errors:
    """What a sweep's readings share, from the accuracy rows in use; `..._at_C` are the calibration temperatures."""
    return Errors(
        meter_gain=gain_half_width(meter, ambient_C, meter_at_C),
        meter_offset_V=offset_half_width(meter, ambient_C, meter_at_C),
        load_gain=gain_half_width(load, ambient_C, load_at_C),
        load_offset_A=offset_half_width(load, ambient_C, load_at_C),
    )


def usable_points(points: Sequence[Point]) -> tuple[Point, ...]:
    """The points that a fit may use: a current was drawn, the source and the load held it, and a voltage was read."""
    return tuple(
        point for point in points if point.current_A > 0 and point.voltage.value is not None and point.voltage.regulated
    )


def source(points: Sequence[Point], shared: Errors) -> SourceFit | None:
    """Lay a straight line through the regulated points of a sweep.

    Parameters
    ----------
    points : the sweep, in the order it was taken, all on one range of meter and load.

    Returns
    -------
    The line; `None` where fewer than two different currents were held: there is no resistance to state.
    """
    held = usable_points(points)
    if len({point.current_A for point in held}) < 2:
        return None
    sweep = _Sweep.of(held, shared)
    from_mean = sweep.currents - sweep.currents.mean()
    slope = from_mean / float(from_mean @ from_mean)
    level = np.full(len(held), 1 / len(held)) - slope * sweep.currents.mean()
    open_V, ohm = sweep.band(level), sweep.band(-slope)
    rest = sweep.cold @ sweep.volts - open_V.value + ohm.value * sweep.currents
    spare = len(held) - 2
    return SourceFit(
        open_V=open_V,
        ohm=ohm,
        residual_V=float(np.sqrt(rest @ rest / spare)) if spare else 0.0,
        curvature_V=_curvature(sweep),
        up_down_V=_up_down(sweep),
        currents_A=tuple(point.current_A for point in held),
    )


def low_and_high(points: Sequence[Point], shared: Errors) -> tuple[SourceFit, SourceFit] | None:
    """The line through the lower half of the currents and that through the upper half; they share the middle one.

    A source that heats, or nears its limit, differs between the two. `None` where fewer than three currents were held.
    """
    currents = sorted({point.current_A for point in usable_points(points)})
    if len(currents) < 3:
        return None
    middle = currents[len(currents) // 2]
    low = source([point for point in points if point.current_A <= middle], shared)
    high = source([point for point in points if point.current_A >= middle], shared)
    return (low, high) if low is not None and high is not None else None


@dataclass(frozen=True, slots=True)
class _Sweep:
    """The points of a sweep as arrays, one entry a point.

    `slopes` is V' there, `noise` the standard deviation, `cold` the matrix that takes out what the pulses have warmed.
    """

    shared: Errors
    currents: Floats
    volts: Floats
    slopes: Floats
    noise: Floats
    rising: NDArray[np.bool_]
    cold: Floats

    @classmethod
    def of(cls, points: Sequence[Point], shared: Errors) -> _Sweep:
        currents = np.array([point.current_A for point in points])
        volts = np.array([point.voltage.value for point in points], dtype=float)
        rising = np.array([point.rising for point in points])
        told = np.array([_own_noise(point.voltage) for point in points])
        cold = without_heat(points)
        noise = np.maximum(told, _noise_of_pairs(currents, cold @ volts, rising))
        return cls(shared, currents, volts, _local_slopes(currents, cold @ volts), noise, rising, cold)

    def band(self, weights: Floats) -> Band:
        """A weighted sum of the voltages without heat, with its 95 % interval."""
        found = self.difference(self.cold.T @ weights, heat=float(weights @ (self.cold @ self.volts - self.volts)))
        return Band(value=found.value, lower=found.value - found.uncertainty, upper=found.value + found.uncertainty)

    def difference(self, weights: Floats, heat: float = 0.0) -> Difference:
        """A weighted sum of the voltages as read, and the half-width of its interval: the formula at the head.

        Parameters
        ----------
        heat : what was taken out of it for heat, in its unit.
        """
        value = float(weights @ self.volts)
        bounds = (
            DOUBT * heat,
            self.shared.meter_gain * value,
            self.shared.meter_offset_V * float(weights.sum()),
            self.shared.load_gain * float(weights @ (self.slopes * self.currents)),
            self.shared.load_offset_A * float(weights @ self.slopes),
        )
        noise = float(np.sqrt(np.square(weights * self.noise).sum()))
        return Difference(value=value, uncertainty=half_width(bounds, noise))


def _curvature(sweep: _Sweep) -> Difference | None:
    """Rise of the best parabola's middle above its chord, with the load's and the meter's errors in its uncertainty."""
    currents = sweep.currents
    if len(np.unique(currents)) < 3:
        return None
    half_span = float(np.ptp(currents)) / 2
    base = np.stack([np.ones_like(currents), currents - currents.mean()], axis=1)
    square = np.square(currents - currents.mean())
    bend = square - base @ np.linalg.lstsq(base, square, rcond=None)[0]
    weights = -(half_span**2) * bend / float(bend @ bend)
    return sweep.difference(sweep.cold.T @ weights)


def _up_down(sweep: _Sweep) -> Difference | None:
    """Mean voltage on the way down less that on the way up, over the currents that were read both ways."""
    both = set(sweep.currents[sweep.rising]) & set(sweep.currents[~sweep.rising])
    weights = np.zeros_like(sweep.currents)
    for current in both:
        for chosen, sign in ((sweep.rising, -1), (~sweep.rising, 1)):
            here = chosen & (sweep.currents == current)
            weights[here] = sign / (here.sum() * len(both))
    return sweep.difference(weights) if both else None


def _own_noise(reading: Reading) -> float:
    """Standard deviation of a reading's own scatter, V; where that is not known, its whole standard uncertainty."""
    if reading.spread is not None:
        return type_a(reading.spread, reading.count, reading.nplc)
    if reading.uncertainty is None:
        raise ValueError("a reading of a sweep has neither spread nor uncertainty; give one of the two")
    return reading.uncertainty / COVERAGE


def _noise_of_pairs(currents: Floats, volts: Floats, rising: NDArray[np.bool_]) -> float:
    """Standard deviation of one point, V, from what differs between up and down beyond their mean difference.

    Sees what the meter's own spread cannot: the load's noise and contacts. 0 with fewer than `ENOUGH_PAIRS` pairs.
    """
    up = dict(zip(currents[rising], volts[rising], strict=True))
    down = dict(zip(currents[~rising], volts[~rising], strict=True))
    differences = [down[current] - up[current] for current in up.keys() & down.keys()]
    if len(differences) < ENOUGH_PAIRS:
        return 0.0
    return float(np.std(differences, ddof=1)) / math.sqrt(2)


def _local_slopes(currents: Floats, volts: Floats) -> Floats:
    """dV/dI at each point, ohm: of the straight line, and of a cubic spline through what that leaves.

    The spline runs over the cube root of the current: a diode law bends most at the lowest currents.
    """
    from scipy.interpolate import CubicSpline

    distinct, place = np.unique(currents, return_inverse=True)
    means = np.array([volts[currents == current].mean() for current in distinct])
    line = straight(distinct.tolist(), means.tolist())
    roots = np.cbrt(distinct)
    bends = CubicSpline(roots, means - line.slope * distinct)(roots, 1) / (3 * roots**2)
    return np.asarray((line.slope + bends)[place], dtype=float)
