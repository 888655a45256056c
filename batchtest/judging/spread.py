"""The spread of single raw values, pooled per function, range and integration time: three values alone say little."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

#: Degrees of freedom from which a pooled spread stands on its own; k = 2 then covers about 95 % (JCGM 100:2008, G.6.6).
ENOUGH_DOF = 10
#: A set that spreads more than this many times the pooled spread is not the meter's noise: chance does it to one set of
#: two in 400 while the pool is young (F distribution, 1 and 10 degrees of freedom), and far less often later.
OUTLYING = 4.0


@dataclass(frozen=True, slots=True)
class SpreadKey:
    """What shares one spread: the function, the range (base unit) and the integration time (power-line cycles)."""

    function: str
    range: float
    nplc: float


@dataclass(slots=True)
class _Pool:
    squares: float = 0.0
    dof: int = 0

    @property
    def spread(self) -> float:
        return math.sqrt(self.squares / self.dof) if self.dof else 0.0

    @property
    def stands(self) -> bool:
        return self.dof >= ENOUGH_DOF


class PooledSpread:
    """Collects the scatter of sets of raw values and says what spread a set has to be credited with.

    Examples
    --------
    >>> pooled, key = PooledSpread(), SpreadKey("volts_dc", 10.0, 1.0)
    >>> pooled.of(key, [4.999, 5.001], noise=0.003)
    0.003
    >>> pooled.dof(key)
    1
    """

    def __init__(self) -> None:
        self._pools: dict[SpreadKey, _Pool] = {}

    def dof(self, key: SpreadKey) -> int:
        """Degrees of freedom pooled so far."""
        return self._pools[key].dof if key in self._pools else 0

    def of(self, key: SpreadKey, values: Sequence[float], noise: float) -> float:
        """Add a set to its pool and give the standard deviation of one raw value, base unit.

        From `ENOUGH_DOF` on it is the pooled one; before that the data sheet's `noise`, or the pooled one where that is
        worse. A set that spreads more than `OUTLYING` times a pool that stands on its own is the rail's own unrest: it
        keeps its own spread and stays out of the pool.

        Parameters
        ----------
        values : raw values of one reading, at least one; a single one adds nothing.
        noise : rms of one raw value by the data sheet, 0 where it says nothing.
        """
        mean = math.fsum(values) / len(values)
        squares, dof = math.fsum((value - mean) ** 2 for value in values), len(values) - 1
        pool = self._pools.setdefault(key, _Pool())
        if pool.stands and squares > (OUTLYING * pool.spread) ** 2 * dof:
            return math.sqrt(squares / dof)
        pool.squares += squares
        pool.dof += dof
        return pool.spread if pool.stands else max(noise, pool.spread)
