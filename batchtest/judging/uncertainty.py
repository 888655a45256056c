"""Uncertainty of a reading by the GUM (JCGM 100:2008): what the data sheet allows and what the readings scatter."""

from __future__ import annotations

import math
from collections.abc import Sequence

from batchtest.judging.accuracy import Row, half_width

#: Coverage factor of every expanded uncertainty here (JCGM 100:2008, G.6.6: about 95 % from ten degrees of freedom on).
COVERAGE = 2.0


def rectangular(half: float) -> float:
    """Standard uncertainty of an error known only to lie within +-`half`: a/sqrt 3 (JCGM 100:2008, 4.3.7)."""
    return half / math.sqrt(3)


def resolution(step: float) -> float:
    """Standard uncertainty of a display with this step: d/sqrt 12 (JCGM 100:2008, F.2.2.1)."""
    return step / math.sqrt(12)


def type_a(spread: float, count: int, nplc: float) -> float:
    """Standard uncertainty of the mean of `count` raw values (JCGM 100:2008, 4.2.3).

    Below one power-line cycle, and at parts of one, each raw value carries the mains hum of its moment. Values taken at
    a steady pace carry it alike, so averaging does not take it off: there the spread is not divided by sqrt n.

    Parameters
    ----------
    spread : standard deviation of one raw value.
    count : raw values averaged, 1 or more.
    nplc : integration time of one raw value, power-line cycles; 0 where not known, taken as below one.
    """
    whole_cycles = nplc >= 1 and float(nplc).is_integer()
    return spread / math.sqrt(count) if whole_cycles else spread


def of_reading(
    row: Row, value: float, *, spread: float, count: int, nplc: float, ambient_C: float, calibrated_at_C: float
) -> float:
    """Expanded uncertainty of a reading, k = 2, base unit.

    The accuracy half-width, taken as rectangular (JCGM 100:2008, 4.3.7), and the scatter of the mean (4.2.3), combined
    as independent (5.1.2). The display's step is part of what a data sheet states as accuracy, and is not added again.

    Parameters
    ----------
    row : the accuracy row of the range that was used.
    value : the mean, base unit.
    spread, count, nplc : as for `type_a`.
    ambient_C, calibrated_at_C : temperature at the bench, and that of the calibration.
    """
    from_table = rectangular(half_width(row, value, ambient_C, calibrated_at_C))
    return COVERAGE * math.hypot(from_table, type_a(spread, count, nplc))


def effective_dof(parts: Sequence[tuple[float, float]]) -> float:
    """Effective degrees of freedom by Welch and Satterthwaite (JCGM 100:2008, G.4.1, formula G.2b).

    Parameters
    ----------
    parts : standard uncertainty (or its share) and degrees of freedom of each; `math.inf` for a data sheet.

    Examples
    --------
    >>> round(effective_dof([(0.25, 9), (0.57, 4), (0.82, 14)]), 1)
    19.0
    """
    weight = sum(uncertainty**4 / dof for uncertainty, dof in parts)
    combined = math.sqrt(sum(uncertainty**2 for uncertainty, _ in parts))
    return combined**4 / weight if weight else math.inf


def coverage(dof: float, probability: float = 0.9545) -> float:
    """Coverage factor t_p(dof) of Student's distribution (JCGM 100:2008, G.3.2 and Table G.2)."""
    from scipy.special import ndtri, stdtrit

    above = (1 + probability) / 2
    return float(ndtri(above) if math.isinf(dof) else stdtrit(dof, above))
