"""The whole answer of one load test, worked out from what was known and what was read: on the bench and on the page."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from batchtest.capacity import fits, knee, what_if
from batchtest.capacity.curve import Curve, curve
from batchtest.capacity.model import Alternative, Band, Ceiling, Difference, Knee, Point, SourceFit
from batchtest.capacity.outlet import Outlet
from batchtest.capacity.readings import open_circuit_V, sweep, tripped_fuse, warm_fuse
from batchtest.capacity.threshold import threshold
from batchtest.capacity.usable import OWN_LIMIT, sentence
from batchtest.capacity.warming import warming
from batchtest.nouns import Line, Measurand, Phase


@dataclass(frozen=True, slots=True, kw_only=True)
class Answer:
    """What a load test says.

    Parameters
    ----------
    cold, hot : points of the sweeps, as they were read.
    cold_fit, hot_fit : source resistance; `None` where fewer than two currents were held.
    low_fit, high_fit : the cold one over the lower and the upper half of the currents.
    warming : rise of the source resistance at rest for each watt that the source sheds, ohm/W.
    cold_curve, hot_curve : the same with their bands.
    knee : where the source gave up, in the hot sweep or the cold one.
    fitted, others : usable current, budget and what a short draws, as it is, and with another part in series; `None`
        and empty where the outlet did not get as far as two currents at thermal rest.
    threshold_A : the largest current that the fuse carries without tripping, from its heat, where it was tripped alone.
    finished : `False` where the load test ended before its answer.
    """

    cold: tuple[Point, ...]
    hot: tuple[Point, ...]
    cold_fit: SourceFit | None
    hot_fit: SourceFit | None
    low_fit: SourceFit | None
    high_fit: SourceFit | None
    warming: Difference | None
    cold_curve: Curve | None
    hot_curve: Curve | None
    knee: Knee | None
    fitted: Alternative | None
    others: tuple[Alternative, ...]
    threshold_A: Band | None
    finished: bool = True

    @property
    def sentence(self) -> str:
        """The answer in one sentence."""
        if not self.finished:
            return "No answer: the load test did not get to its end."
        if self.fitted is not None:
            return sentence(self.fitted.usable)
        return "No answer: fewer than two currents were held at thermal rest."


def answer_of(outlet: Outlet, lines: Sequence[Line], ambient_C: float) -> Answer:
    """Work out the answer of a load test.

    Parameters
    ----------
    lines : all that was read.
    ambient_C : at the bench.
    """
    cold, hot = sweep(lines, Phase.COLD), sweep(lines, Phase.HOT)
    cold_curve, hot_curve = curve(cold, outlet.errors), curve(hot, outlet.errors)
    cold_fit = fits.source(cold, outlet.errors)
    low_fit, high_fit = fits.low_and_high(cold, outlet.errors) or (None, None)
    open_V, gave_up = open_circuit_V(cold), knee.find(hot) or knee.find(cold)
    measured = _measured(outlet, cold, cold_fit, (cold_curve, hot_curve), ambient_C, gave_up)
    return Answer(
        cold=cold,
        hot=hot,
        cold_fit=cold_fit,
        hot_fit=fits.source(hot, outlet.errors),
        low_fit=low_fit,
        high_fit=high_fit,
        warming=None if open_V is None else warming(cold, hot, open_V),
        cold_curve=cold_curve,
        hot_curve=hot_curve,
        knee=gave_up,
        fitted=None if measured is None else what_if.as_fitted(measured, "as it is"),
        others=()
        if measured is None
        else tuple(what_if.with_other(measured, other.name, other.limiter) for other in outlet.others),
        threshold_A=_threshold_A(outlet, lines),
    )


def answer_of_record(outlet: Outlet, lines: Sequence[Line], ambient_C: float) -> Answer:
    """The answer of a load test that is over; what did not get as far as its own answer promises nothing."""
    answer = answer_of(outlet, lines, ambient_C)
    if any(line.measurement.measurand is Measurand.USABLE_CURRENT for line in lines):
        return answer
    return replace(answer, fitted=None, others=(), finished=False)


def _threshold_A(outlet: Outlet, lines: Sequence[Line]) -> Band | None:
    """Only of a fuse that is alone: in its host the host's own resistance cannot be told from the fuse's."""
    if outlet.trip is None or not outlet.trip.alone:
        return None
    warm, tripped = warm_fuse(lines), tripped_fuse(lines)
    return threshold(warm, tripped) if len(warm) > 1 and tripped is not None else None


def _measured(
    outlet: Outlet,
    cold: Sequence[Point],
    cold_fit: SourceFit | None,
    curves: tuple[Curve | None, Curve | None],
    ambient_C: float,
    gave_up: Knee | None,
) -> what_if.Measured | None:
    """What was measured, as far as it lets anything be said; where the source gave up is one more ceiling."""
    open_V, (cold_curve, hot_curve) = open_circuit_V(cold), curves
    if open_V is None or cold_fit is None or cold_curve is None or hot_curve is None:
        return None
    own = () if gave_up is None else (Ceiling(term=OWN_LIMIT, current_A=gave_up.last_good_A),)
    return what_if.Measured(
        cold=cold_curve,
        hot=hot_curve,
        open_V=open_V,
        ohm=cold_fit.ohm,
        limiter=outlet.limiter,
        ratings=(*outlet.ceilings, *own),
        demands=outlet.demands,
        cold_C=ambient_C,
        hot_C=outlet.ambient_max_C,
        less_V=outlet.low_mains_V,
        margin=outlet.margin,
        gives_up_A=outlet.gives_up_A,
    )
