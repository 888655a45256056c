"""The current at which one resettable fuse trips, from its heat: without creeping up on it for hours.

At rest the fuse sheds what heats it, P = I^2 R, and its resistance depends on P alone, whatever its thermal resistance
and its switch temperature are. Warm, R rises slowly and in a straight line with P; that line is measured below the
trip. Tripped, R rises e-fold for each few hundredths of P; one point of that branch is measured. Between them R(P)
has its knee, and the largest current that a fuse can carry at rest is the largest sqrt(P / R(P)).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from batchtest.capacity.lines import straight
from batchtest.capacity.model import Band, Tripped, Warm

Floats = NDArray[np.float64]

#: Share of the tripped heat by which it grows for each e-fold of resistance: a decade of resistance takes 2 to 6 K of
#: the hundred or so between room and switch temperature (common practice, no source).
_STEEPEST, _USUAL, _SHALLOWEST = 0.01, 0.0175, 0.025
#: How the branches join: R = R_warm (1 + x^(1/s))^s with x = R_tripped / R_warm: a corner, a round knee, a soft one
#: (own choice).
_CORNER, _ROUND, _SOFT = 0.1, 1.7, 2.5
#: Points of P at which the largest current is looked for.
_POINTS = 2000


def threshold(warm: Sequence[Warm], tripped: Tripped) -> Band:
    """The largest current that the fuse carries without tripping, A, at the ambient of the measurements, still air.

    That ambient is taken to be a room's; in a hot cabinet fewer kelvin are left to the switch temperature, and the knee
    is softer than allowed for here. The interval lies between the sharpest and the softest knee that such fuses have;
    it is no probability.

    Parameters
    ----------
    warm : the fuse at rest below its trip, at two different currents or more.
    tripped : the tripped fuse at rest, reached by warming: on the way down it remembers (hysteresis).

    Raises
    ------
    ValueError : fewer than two different currents; how the resistance rises on the way is then not known.
    """
    line = straight([point.current_A**2 * point.ohm for point in warm], [point.ohm for point in warm])
    heat_W = np.linspace(0, tripped.voltage_V * tripped.current_A, _POINTS + 1)[1:]
    low_ohm = line.intercept + line.slope * heat_W

    def largest_A(steepness: float, softness: float) -> float:
        ratio = _tripped_ohm(heat_W, tripped, steepness) / low_ohm
        ohm = low_ohm * (1 + ratio ** (1 / softness)) ** softness
        return float(np.sqrt((heat_W / ohm).max()))

    return Band(
        value=largest_A(_USUAL, _ROUND), lower=largest_A(_SHALLOWEST, _SOFT), upper=largest_A(_STEEPEST, _CORNER)
    )


def _tripped_ohm(heat_W: Floats, tripped: Tripped, steepness: float) -> Floats:
    """The tripped branch through the measured point."""
    at_W = tripped.voltage_V * tripped.current_A
    ohm: Floats = tripped.voltage_V / tripped.current_A * np.exp((heat_W / at_W - 1) / steepness)
    return ohm
