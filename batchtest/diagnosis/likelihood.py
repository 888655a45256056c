"""How likely what was read is under each hypothesis, parts' tolerances and instruments' errors and all.

Values: a multivariate Student's t about the hypothesis's mean, with the covariance of its part tolerances (readings
that hang on the same part move together), of gain and offset of each instrument's range, and of scatter. Over-range, a
crossed abort bound, the supply's limit and a needle that does not touch are events with a probability each. A reading
that was not taken says nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from batchtest.diagnosis.model import Defect, FaultTable, Floats, Kind
from batchtest.diagnosis.observed import Observed
from batchtest.nouns import Measurand

Places = NDArray[np.intp]

#: Degrees of freedom of the t: tails for parts that are a little outside what their tolerance says (our choice; checked
#: by the reliability table of the benchmark).
FREEDOM = 100.0
#: Least probability of an event that the table says cannot happen, and near the edge of a range.
NEVER, SELDOM = 1e-6, 1e-3
#: The same when asked whether something like a hypothesis, but not it, may have happened.
UNLIKE = 0.03
#: Within this share of its reach a reading is near the edge of its range.
_EDGE = 0.05
#: A hypothesis under which so many boards are over range has no distribution of values.
_MOSTLY = 0.9
#: Probability that a needle's check fails where that needle touches badly, or the meter reads wrong.
_CHECK_FAILS = 0.3
#: Width of what lies beside a hypothesis: decades of squared distance over which something unknown may lie.
_DECADES = 8.0
#: Hypotheses that are looked at in full: those that no single reading puts out of the question.
KEPT = 160

_DERIVED = (Measurand.REGULATION, Measurand.OUTPUT_RESISTANCE)


@dataclass(frozen=True, slots=True)
class Scores:
    """Natural logarithms, (H,): of a hypothesis's likelihood, and of that of something beside it."""

    hypothesis: Floats
    beside: Floats


class Likelihood:
    """What was read against a table."""

    def __init__(self, table: FaultTable, observed: Observed) -> None:
        self._table, self._observed = table, observed
        usable = np.array([column.measurand not in _DERIVED for column in table.columns])
        self.places: Places = np.flatnonzero(~np.isnan(observed.values) & usable)
        self._values = observed.values[self.places]
        columns = [table.columns[place] for place in self.places]
        self._bench = self._instruments(columns)

    def scores(self) -> Scores:
        """Every hypothesis; those far off are scored by their worst reading alone."""
        events, loose = self._events()
        bound = events + _log_t(self._worst(), 1)
        rows = np.argsort(-bound)[:KEPT]
        fitted = self.fit(rows)
        hypothesis, beside = np.full(len(bound), -np.inf), np.full(len(bound), -np.inf)
        hypothesis[rows] = events[rows] + fitted.log_density
        beside[rows] = loose[rows] + fitted.log_density + _beside(fitted.distance, fitted.count)
        return Scores(hypothesis, beside)

    def fit(self, rows: Places) -> Fit:
        """The values under some hypotheses in full."""
        table, places = self._table, self.places
        mean = table.mean[np.ix_(rows, places)]
        over = table.over[np.ix_(rows, places)]
        blank = np.isnan(mean) | (over > _MOSTLY)
        off = np.where(blank, 0.0, self._values - mean)
        slopes = table.spread[np.ix_(rows, places)].astype(np.float64)
        slopes[blank] = 0.0
        own = np.nan_to_num(table.rough[np.ix_(rows, places)]) ** 2
        known = ~blank
        bench = self._bench[None] * (known[:, :, None] & known[:, None, :])
        covariance = slopes @ slopes.transpose(0, 2, 1) + bench
        diagonal = np.arange(len(places))
        covariance[:, diagonal, diagonal] += np.where(blank, 1.0, own)
        reach = np.array([min(table.columns[place].reach, 1e9) for place in places])
        return Fit.of(covariance, off, (~blank).sum(axis=1), -(blank * np.log(reach)).sum(axis=1), slopes)

    @cached_property
    def sigmas(self) -> Floats:
        """(R,) how far each reading is off a good board's, in standard deviations; not-a-number where not read."""
        table, observed = self._table, self._observed
        values = np.where(np.isnan(observed.values), observed.beyond, observed.values)
        instruments = np.array([column.gain for column in table.columns]) * np.nan_to_num(values)
        fixed = np.array([math.hypot(column.offset, column.noise) for column in table.columns])
        spread = np.linalg.norm(table.spread[0].astype(float), axis=1)
        found: Floats = (values - table.mean[0]) / np.sqrt(spread**2 + table.rough[0] ** 2 + instruments**2 + fixed**2)
        return found

    def _instruments(self, columns: list) -> Floats:  # type: ignore[type-arg]
        """Covariance that the instruments bring in, base units: gain and offset by range, scatter by reading."""
        same = np.array([[one.instrument == other.instrument for other in columns] for one in columns], bool)
        same = same.reshape(len(columns), len(columns))
        gains = np.array([column.gain for column in columns]) * self._values
        offsets = np.array([column.offset for column in columns])
        found: Floats = same * (np.outer(gains, gains) + np.outer(offsets, offsets))
        return found + np.diag(np.nan_to_num(self._observed.scatter[self.places]) ** 2)

    def _worst(self) -> Floats:
        """(H,) squared distance of the reading that speaks most against each hypothesis."""
        if not self.places.size:
            return np.zeros(len(self._table.hypotheses))
        table, places = self._table, self.places
        variance = np.einsum("hrz,hrz->hr", table.spread[:, places], table.spread[:, places]).astype(np.float64)
        variance += np.nan_to_num(table.rough[:, places]) ** 2 + np.diag(self._bench)
        off = np.nan_to_num(self._values - table.mean[:, places])
        worst: Floats = (off**2 / variance).max(axis=1)
        return worst

    def _events(self) -> tuple[Floats, Floats]:
        """(H,) logarithm of the probability of all that is no value; strictly, and for something like it."""
        found = np.concatenate([self._ranges(), self._bounds(), self._supply()], axis=1)
        checks: Floats = np.log(self._checks()).sum(axis=1)  # they are of the bench alone, and mean what they say
        strict: Floats = np.log(found).sum(axis=1)
        loose: Floats = np.log(np.maximum(found, UNLIKE)).sum(axis=1)
        return strict + checks, loose + checks

    def _ranges(self) -> Floats:
        """(H, readings) probability that each was over range, or was not, as it came."""
        table, observed = self._table, self._observed
        read = np.flatnonzero(observed.over | ~np.isnan(observed.values))
        read = read[[table.columns[place].measurand not in _DERIVED for place in read]] if read.size else read
        reach = np.array([table.columns[place].reach for place in read])
        share = np.nan_to_num(table.over[:, read], nan=0.5)
        near = np.abs(np.nan_to_num(table.mean[:, read], nan=np.inf)) > (1 - _EDGE) * reach
        least = np.where(near, SELDOM, NEVER)
        share = np.clip(share, least, 1 - least)
        found: Floats = np.where(observed.over[read], share, 1 - share)
        return found

    def _bounds(self) -> Floats:
        """(H, readings) probability that a reading went at least as far as it was seen to go."""
        from scipy.special import ndtr

        table, beyond = self._table, self._observed.beyond
        read = np.flatnonzero(~np.isnan(beyond))
        upper = beyond[read] > np.array([table.columns[place].abort_upper for place in read])
        sigma = np.hypot(
            np.linalg.norm(table.spread[:, read].astype(float), axis=2), np.nan_to_num(table.rough[:, read])
        )
        past = (table.mean[:, read] - beyond[read]) * np.where(upper, 1.0, -1.0)
        chance = ndtr(np.nan_to_num(past, nan=0.0) / np.maximum(sigma, 1e-9))
        found: Floats = np.maximum(chance, np.nan_to_num(table.over[:, read], nan=0.5))
        return np.clip(found, NEVER, 1 - NEVER)

    def _supply(self) -> Floats:
        """(H, states) probability that the supply was in its limit, or was not, where that is known."""
        observed = self._observed
        known = np.flatnonzero(observed.free | observed.limiting)
        share = np.clip(np.nan_to_num(self._table.limiting[:, known], nan=0.5), 1e-4, 1 - 1e-4)
        found: Floats = np.where(observed.limiting[known], share, 1 - share)
        return found

    def _checks(self) -> Floats:
        """(H, failed checks) probability of a needle's check failing, and of the known voltage reading wrong."""
        columns = []
        hypotheses = self._table.hypotheses
        for terminal in sorted(self._observed.contacts):
            mine = [one.defect is Defect.CONTACT and terminal in one.parts for one in hypotheses]
            columns.append(np.where(mine, _CHECK_FAILS, NEVER))
        if not self._observed.reference:
            mine = [one.kind is Kind.INSTRUMENT and "volts" in one.name for one in hypotheses]
            columns.append(np.where(mine, _CHECK_FAILS, NEVER))
        return np.array(columns).reshape(len(columns), len(hypotheses)).T


@dataclass(frozen=True, slots=True)
class Fit:
    """Values under some hypotheses: (rows,) log density, squared distance, how many values; what predicts others."""

    log_density: Floats
    distance: Floats
    count: Floats
    _slopes: Floats
    _scale: Floats
    _factor: Floats
    _white: Floats

    @classmethod
    def of(cls, covariance: Floats, off: Floats, count: Floats, log_blank: Floats, slopes: Floats) -> Fit:
        """From (rows, values, values) covariances and (rows, values) distances from the means."""
        scale = np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
        scaled = covariance / (scale[:, :, None] * scale[:, None, :])
        places = np.arange(scale.shape[1])
        scaled[:, places, places] += 1e-9
        factor: Floats = np.linalg.cholesky(scaled).astype(np.float64, copy=False)
        white: Floats = np.linalg.solve(factor, (off / scale)[:, :, None])[:, :, 0].astype(np.float64, copy=False)
        distance = (white**2).sum(axis=1)
        log_volume = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1) + np.log(scale).sum(axis=1)
        density = _log_t(distance, count) - log_volume + log_blank
        return cls(density, distance, count, slopes, scale, factor, white)

    def predicted(self, mean: Floats, slopes: Floats, rough: Floats) -> tuple[Floats, Floats]:
        """Mean and standard deviation of other readings given these values.

        Parameters
        ----------
        mean, rough : (rows, others) as in the table; slopes : (rows, others, Z).
        """
        crossed = (self._slopes / self._scale[:, :, None]) @ slopes.transpose(0, 2, 1)
        half = np.linalg.solve(self._factor, crossed)
        found = mean + (half * self._white[:, :, None]).sum(axis=1)
        variance = (slopes**2).sum(axis=2) + rough**2 - (half**2).sum(axis=1)
        return found, np.sqrt(np.maximum(variance, 0.0))


def _log_t(distance: Floats, count: Floats | int) -> Floats:
    """Logarithm of the t's density at a squared distance in `count` dimensions, at unit volume.

    Kotz and Nadarajah, Multivariate t Distributions, 2004, formula 1.1 (from memory).
    """
    from scipy.special import gammaln

    half = (FREEDOM + count) / 2
    constant = gammaln(half) - gammaln(FREEDOM / 2) - count / 2 * math.log(FREEDOM * math.pi)
    found: Floats = constant - half * np.log1p(distance / FREEDOM)
    return found


def _beside(distance: Floats, count: Floats) -> Floats:
    """Logarithm of by how much likelier a squared distance is for something beside a hypothesis than for itself.

    Beside it, any distance is as likely as ten times that distance; of itself, distance / count follows F(count,
    FREEDOM), which is what a squared t distance does.
    """
    from scipy.special import betaln

    count = np.maximum(count, 1)
    held = np.maximum(distance, count)  # nearer than usual speaks for nothing beside it
    ratio = held / FREEDOM
    log_own = (
        (count / 2 - 1) * np.log(ratio)
        - (count + FREEDOM) / 2 * np.log1p(ratio)
        - betaln(count / 2, FREEDOM / 2)
        - math.log(FREEDOM)
    )
    found: Floats = -np.log(held) - math.log(_DECADES * math.log(10)) - log_own
    return found
