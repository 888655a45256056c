"""The decision rule: zones, risks at the limit against outside values, and what decides an outcome."""

from __future__ import annotations

import math
from datetime import UTC, datetime
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from batchtest.judging.rule import first_cause, judge, outcome_of
from batchtest.nouns import (
    Judgement,
    Limit,
    Line,
    Measurand,
    Measurement,
    Outcome,
    Phase,
    Reading,
    Verdict,
)

WINDOW = Limit(lower=4.75, upper=5.25)
LOWER = Limit(lower=900.0)
UPPER = Limit(upper=1000.0)
PASS, FAIL, DOUBTFUL, UNREAD = Verdict.PASS, Verdict.FAIL, Verdict.DOUBTFUL, Verdict.UNREAD


def read(value: float | None, uncertainty: float | None = 0.01, **keys: object) -> Reading:
    """A voltage with an uncertainty."""
    return Reading(value=value, unit="V", uncertainty=uncertainty, **keys)  # type: ignore[arg-type]


def verdict(value: float | None, limit: Limit = WINDOW, rule: str = "guarded", **keys: object) -> Verdict:
    """The verdict alone."""
    return judge(read(value, **keys), limit, rule).verdict  # type: ignore[arg-type]


def share_passed(values: np.ndarray, limit: Limit, rule: str, uncertainty: float) -> float:
    """Which share of values the rule passes."""
    return float(np.mean([verdict(float(value), limit, rule, uncertainty=uncertainty) is PASS for value in values]))


@pytest.mark.parametrize(
    ("value", "guarded", "plain"),
    [
        pytest.param(4.7499, FAIL, FAIL, id="below"),
        pytest.param(4.75, DOUBTFUL, PASS, id="on-lower"),
        pytest.param(4.7599, DOUBTFUL, PASS, id="in-lower-guard-band"),
        pytest.param(4.76, PASS, PASS, id="on-lower-guard"),
        pytest.param(5.0, PASS, PASS, id="middle"),
        pytest.param(5.2401, DOUBTFUL, PASS, id="in-upper-guard-band"),
        pytest.param(5.25, DOUBTFUL, PASS, id="on-upper"),
        pytest.param(5.2501, FAIL, FAIL, id="above"),
        pytest.param(-5.0, FAIL, FAIL, id="wrong-polarity"),
    ],
)
def test_a_window_has_five_zones(value, guarded, plain):
    """Bounds are included; the guard band takes U off on each side and leaves doubt, not failure."""
    assert guarded is verdict(value)
    assert plain is verdict(value, rule="plain")


@pytest.mark.parametrize(("value", "expected"), [(899.9, FAIL), (900.0, DOUBTFUL), (950.0, PASS), (1e12, PASS)])
def test_a_lower_bound_alone_has_no_upper_end(value, expected):
    """A missing bound is no bound, and a guard band cannot fill an endless window."""
    assert expected is verdict(value, LOWER, uncertainty=10.0)


@pytest.mark.parametrize(
    ("value", "why"),
    [
        pytest.param(4.7381, "4.7381 V is 11.90 mV below the lower bound 4.7500 V", id="below"),
        pytest.param(5.3, "5.3000 V is 50.00 mV above the upper bound 5.2500 V", id="above"),
        pytest.param(4.98, "4.9800 V is 230.0 mV above the lower bound 4.7500 V", id="nearer-to-lower"),
        pytest.param(5.2, "5.2000 V is 50.00 mV below the upper bound 5.2500 V", id="nearer-to-upper"),
        pytest.param(5.25, "exactly on the upper bound 5.2500 V, closer than its uncertainty 10.000 mV", id="on-bound"),
        pytest.param(4.755, "4.7550 V is 5.000 mV above the lower bound 4.7500 V, closer than", id="in-guard-band"),
    ],
)
def test_the_reason_names_value_bound_and_margin(value, why):
    """Who reads the verdict sees by how much, without a calculator."""
    assert why in judge(read(value), WINDOW, "guarded").why


@pytest.mark.parametrize("rule", ["guarded", "plain"])
@pytest.mark.parametrize("value", [None, math.nan, math.inf, -math.inf])
@pytest.mark.parametrize("limit", [WINDOW, LOWER, UPPER])
def test_no_reading_is_never_judged(limit, value, rule):
    """Nothing, not-a-number and infinity are no values; no bound is met or missed by them."""
    found = judge(read(value), limit, rule)
    assert (found.verdict, found.why) == (UNREAD, "no reading")


@pytest.mark.parametrize(
    ("beyond", "limit", "expected", "why"),
    [
        pytest.param(1200.0, LOWER, PASS, "above 1.2000 kV, so above the lower bound 900.00 V", id="passes-lower"),
        pytest.param(900.0, LOWER, PASS, "lower bound", id="exactly-lower"),
        pytest.param(899.0, LOWER, UNREAD, "does not decide; use a higher range", id="short-of-lower"),
        pytest.param(1200.0, UPPER, FAIL, "so above the upper bound 1.0000 kV", id="fails-upper"),
        pytest.param(1000.0, UPPER, FAIL, "upper bound", id="exactly-upper"),
        pytest.param(900.0, UPPER, UNREAD, "does not decide", id="short-of-upper"),
        pytest.param(1200.0, Limit(lower=900, upper=1000), FAIL, "upper bound", id="fails-window"),
        pytest.param(950.0, Limit(lower=900, upper=1000), UNREAD, "does not decide", id="inside-window"),
        pytest.param(math.inf, LOWER, UNREAD, "no reading", id="infinite"),
        pytest.param(math.nan, UPPER, UNREAD, "no reading", id="nan"),
    ],
)
def test_a_proven_over_range_is_a_bound(beyond, limit, expected, why):
    """Above the range with contact proven satisfies a lower bound and breaks an upper one, and decides nothing else."""
    found = judge(read(None, None, beyond=beyond), limit, "guarded")
    assert expected is found.verdict
    assert why in found.why


@pytest.mark.parametrize("uncertainty", [None, math.nan, math.inf, -0.001])
def test_a_value_of_unknown_uncertainty_is_not_passed(uncertainty):
    """The guarded rule needs a guard band; the plain rule does not ask for one."""
    found = judge(read(5.0, uncertainty), WINDOW, "guarded")
    assert found.verdict is UNREAD
    assert "uncertainty of the value is not known" in found.why
    assert judge(read(5.0, uncertainty), WINDOW, "plain") == Judgement(verdict=PASS, guard=0.0, why=found_why(5.0))


def found_why(value: float) -> str:
    """The reason of a plain verdict."""
    return judge(read(value, 0.0), WINDOW, "plain").why


def test_a_value_that_did_not_settle_fails():
    """A value inside the limits that is still on its way is a failure, and says so."""
    found = judge(read(5.0, settled=False), WINDOW, "guarded")
    assert (found.verdict, found.why) == (FAIL, "did not settle; last value 5.0000 V")


@pytest.mark.parametrize("value", [2.0, 5.0, 9.0], ids=["below", "inside", "above"])
def test_a_value_that_the_load_did_not_hold_is_not_judged(value):
    """Inside or outside its limits: it is no reading at that current."""
    assert verdict(value, regulated=False) is UNREAD
    found = judge(read(value, regulated=False), WINDOW, "guarded")
    assert "a load or the supply did not hold what it was set to" in found.why


def test_no_value_and_not_settled_is_unread():
    """Without a value there is nothing that could have failed to settle."""
    assert verdict(None, settled=False) is UNREAD


@pytest.mark.parametrize("uncertainty", [0.25, 0.3])
def test_a_guard_band_as_wide_as_the_window_leaves_doubt(uncertainty):
    """Where nothing could pass, the way out is a better range, and the verdict says so; outside is still a failure."""
    found = judge(read(5.0, uncertainty), WINDOW, "guarded")
    assert found.verdict is DOUBTFUL
    assert "fills the window; use a better range" in found.why
    assert verdict(5.3, uncertainty=uncertainty) is FAIL


def test_a_limit_without_bounds_passes_nothing():
    """A limit that says nothing cannot be met."""
    assert verdict(5.0, Limit(source="forgotten")) is UNREAD


@pytest.mark.no_cover
@pytest.mark.parametrize(("row", "rule"), [(0, "plain"), (2, "guarded")])
def test_the_risk_at_the_limit_is_the_published_one(reference, row, rule):
    """ILAC-G8:09/2019, Table 1: a board exactly at a limit passes half the time with r = 0, 2.3 % of it with r = 1."""
    case = reference("04_decision_rules", "ilac-g8-risk")
    assert case["inputs"]["r"][row] == {"plain": 0.0, "guarded": 1.0}[rule]
    values = np.random.default_rng(3).normal(5.25, 0.01, 40_000)
    expected = case["expected"]["pfa_exact"][row]
    sampling = 4 * math.sqrt(expected * (1 - expected) / len(values))
    assert expected == pytest.approx(share_passed(values, Limit(upper=5.25), rule, 0.02), abs=sampling)


def test_the_guarded_acceptance_limit_is_the_published_factor(reference):
    """NCSL RP-10, subtract-U: with tolerance 1 and TUR = T/U the rule accepts up to 1 - 1/TUR and not beyond."""
    case = reference("04_decision_rules", "other-guard-factors")
    tolerance = case["tolerance"]["abs"]
    for ratio, factor in zip(case["inputs"]["TUR"], case["expected"]["subtract"], strict=True):
        limit, uncertainty = Limit(lower=-1.0, upper=1.0), 1.0 / ratio
        assert verdict(factor - 2 * tolerance, limit, uncertainty=uncertainty) is PASS
        assert verdict(factor + 2 * tolerance, limit, uncertainty=uncertainty) is DOUBTFUL


def test_the_acceptance_zone_is_the_limits_less_the_guard_band(reference):
    """ISO 14253-1:2017: acceptance from LSL + g to USL - g, here with the g of the published example."""
    case = reference("04_decision_rules", "iso14253-zones")
    limit = Limit(lower=case["inputs"]["lsl"], upper=case["inputs"]["usl"])
    lower, upper = case["expected"]["accept"]
    inside, step = case["expected"]["g"], case["tolerance"]["abs"]
    found = [verdict(at, limit, uncertainty=inside) for at in (lower - step, lower + step, upper - step, upper + step)]
    assert found == [DOUBTFUL, PASS, PASS, DOUBTFUL]


def test_the_share_inside_a_window_is_the_published_conformance(reference):
    """JCGM 106:2012, 7.4 (oil viscosity): of what the truth may be, 66 % lies inside; the rule finds this doubtful."""
    case = reference("04_decision_rules", "jcgm106-two-sided")
    given_ = case["inputs"]
    limit = Limit(lower=given_["lower"], upper=given_["upper"])
    truths = np.random.default_rng(4).normal(given_["y"], given_["u"], 40_000)
    assert case["expected"]["pc"] == pytest.approx(share_passed(truths, limit, "plain", 0.0), abs=0.012)
    assert verdict(given_["y"], limit, uncertainty=2 * given_["u"]) is DOUBTFUL


@pytest.mark.parametrize("index", [0, 1, 2])
def test_the_worst_case_risk_without_guard_is_the_published_one(reference, index):
    """Dobbert (NCSLI 2008), Table 2: false accepts without guard at the in-tolerance share where they are most.

    With our guard band the same boards give less than a tenth of it.
    """
    case = reference("04_decision_rules", "worst-case-pfa")
    tur, worst = case["inputs"]["TUR"][index], case["expected"]["max_PFA_pct"][index] / 100
    itp = case["expected"]["itp_at_max"][index]
    rng = np.random.default_rng(10 + index)
    truths = rng.normal(0, 1 / NormalDist().inv_cdf((1 + itp) / 2), 40_000)
    outside = truths[abs(truths) > 1]
    values, limit = outside + rng.normal(0, 0.5 / tur, len(outside)), Limit(lower=-1.0, upper=1.0)
    share = len(outside) / len(truths)
    plain = share * share_passed(values, limit, "plain", 1 / tur)
    assert worst == pytest.approx(plain, abs=4 * math.sqrt(worst / len(truths)))
    assert share * share_passed(values, limit, "guarded", 1 / tur) < worst / 10


def test_consumer_and_producer_risk_are_the_published_ones(reference):
    """Deaver (NCSL 1993), p. 7: limits at 2 sigma, ratio 4:1, no guard band: 0.8 % false accepts, 1.5 % rejects."""
    case = reference("04_decision_rules", "deaver-no-guard")
    given_ = case["inputs"]
    rng = np.random.default_rng(8)
    truths = rng.normal(0, given_["sigma_process"], 40_000)
    values = truths + rng.normal(0, given_["sigma_measure"], len(truths))
    limit = Limit(lower=-given_["spec_sigma"], upper=given_["spec_sigma"])
    passed = np.array([verdict(float(value), limit, "plain") is PASS for value in values])
    good = abs(truths) <= given_["spec_sigma"]
    assert case["expected"]["PFA"] == pytest.approx(np.mean(passed & ~good), abs=0.002)
    assert case["expected"]["PFR"] == pytest.approx(np.mean(~passed & good), abs=0.0025)


FINITE = st.floats(-1e3, 1e3)
BOUND = st.none() | FINITE


@given(value=FINITE, lower=BOUND, upper=BOUND, uncertainty=st.floats(0, 100))
def test_guarding_never_makes_a_rule_kinder(value, lower, upper, uncertainty):
    """What passes guarded passes plain, and what fails plain fails guarded."""
    limit = Limit(lower=lower, upper=upper)
    guarded = verdict(value, limit, uncertainty=uncertainty)
    plain = verdict(value, limit, "plain")
    assert plain is PASS or guarded is not PASS
    assert (plain is FAIL) == (guarded is FAIL)


@given(value=FINITE, lower=FINITE, width=st.floats(0, 100), smaller=st.floats(0, 50), more=st.floats(0, 50))
def test_knowing_less_never_makes_a_pass(value, lower, width, smaller, more):
    """A larger uncertainty turns no doubt into a pass."""
    limit = Limit(lower=lower, upper=lower + width)
    if verdict(value, limit, uncertainty=smaller) is not PASS:
        assert verdict(value, limit, uncertainty=smaller + more) is not PASS


def judged(*verdicts: Verdict | None) -> list[Judgement | None]:
    """Judgements with these verdicts; `None` for a line without a limit."""
    return [None if found is None else Judgement(verdict=found) for found in verdicts]


@pytest.mark.parametrize(
    ("verdicts", "outcome"),
    [
        pytest.param((PASS, None, PASS), Outcome.PASS, id="all-pass"),
        pytest.param((PASS, FAIL, DOUBTFUL, UNREAD), Outcome.FAIL, id="any-fail"),
        pytest.param((PASS, DOUBTFUL), Outcome.DOUBTFUL, id="any-doubt"),
        pytest.param((PASS, UNREAD), Outcome.DOUBTFUL, id="any-unread"),
        pytest.param((None, None), Outcome.DOUBTFUL, id="nothing-judged"),
        pytest.param((), Outcome.DOUBTFUL, id="nothing-at-all"),
    ],
)
def test_an_outcome_is_the_worst_verdict(verdicts, outcome):
    """Only where something was judged and all of it passed does a board pass."""
    assert outcome is outcome_of(judged(*verdicts))


def line(number: int, found: Verdict | None) -> Line:
    """A line of a record with this verdict."""
    measurement = Measurement(
        name=f"rail {number}", phase=Phase.LOAD, point="rail", measurand=Measurand.VOLTAGE, unit="V", range=10.0
    )
    judgement = None if found is None else Judgement(verdict=found, why="because")
    now = datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
    return Line(number=number, time=now, elapsed_s=0.0, measurement=measurement, reading=read(5.0), judgement=judgement)


@pytest.mark.parametrize(
    ("verdicts", "cause"),
    [
        pytest.param((PASS, DOUBTFUL, FAIL, FAIL), "rail 3: because", id="first-failure-before-earlier-doubt"),
        pytest.param((PASS, UNREAD, DOUBTFUL), "rail 2: because", id="first-doubt-or-unread"),
        pytest.param((PASS, None), None, id="none"),
        pytest.param((), None, id="no-lines"),
    ],
)
def test_the_first_cause_is_the_first_that_failed(verdicts, cause):
    """Follow-on failures do not hide what broke first; doubt counts only where nothing failed."""
    assert cause == first_cause(line(number, found) for number, found in enumerate(verdicts, start=1))
