"""How likely what was read is: the densities against scipy's, conditional readings against drawn ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from batchtest.diagnosis.likelihood import FREEDOM, Fit, Likelihood, _beside, _log_t
from batchtest.diagnosis.model import Kind
from batchtest.diagnosis.observed import Observed, observed_of

from .tables import AMONG, attempt_at, small_table


def random_covariance(count: int, seed: int) -> np.ndarray:
    """A covariance with everything correlated."""
    shape = np.random.default_rng(seed).normal(size=(count, count))
    return shape @ shape.T + 0.1 * np.eye(count)


@given(count=st.integers(1, 6), seed=st.integers(0, 1000))
def test_values_have_the_density_of_a_multivariate_t(count: int, seed: int):
    """As scipy has it, for any covariance and any distance."""
    covariance, off = random_covariance(count, seed), np.random.default_rng(seed + 1).normal(size=count)
    fit = Fit.of(covariance[None], off[None], np.array([count]), np.zeros(1), np.zeros((1, count, 1)))
    expected = stats.multivariate_t(loc=np.zeros(count), shape=covariance, df=FREEDOM).logpdf(off)
    assert fit.log_density[0] == pytest.approx(expected, rel=1e-5, abs=1e-4)


@given(distance=st.floats(20.0, 1e4))
def test_beside_a_hypothesis_any_distance_is_as_likely_as_ten_times_it(distance: float):
    """Against the law of the squared distance itself, which is count times F."""
    own = stats.f(10, FREEDOM).logpdf(distance / 10) - np.log(10)
    expected = -np.log(distance) - np.log(8 * np.log(10)) - own
    assert _beside(np.array([distance]), np.array([10]))[0] == pytest.approx(expected, rel=1e-6, abs=1e-6)


def test_nearer_than_usual_speaks_for_nothing_beside_it():
    """A reading that is right on the mean does not make the unknown likelier."""
    near, usual = _beside(np.array([0.01, 10.0]), np.array([10, 10]))
    assert near == usual


def test_one_value_is_a_students_t():
    """In one dimension it is the t of any table."""
    assert _log_t(np.array([2.25]), 1)[0] == pytest.approx(stats.t(FREEDOM).logpdf(1.5))


def test_other_readings_are_predicted_as_regression_has_it():
    """What two readings say of a third that hangs on the same parts, against the textbook's conditional normal."""
    slopes = np.array([[1.0, 0.5, 0.0], [0.2, 1.0, 0.0], [0.7, 0.7, 0.3]])
    own = np.array([0.1, 0.2])
    seen, other = slopes[:2], slopes[2:]
    covariance, off = seen @ seen.T + np.diag(own**2), np.array([1.2, -0.4])
    fit = Fit.of(covariance[None], off[None], np.array([2]), np.zeros(1), seen[None])
    mean, sigma = fit.predicted(np.array([[5.0]]), other[None], np.array([[0.05]]))
    crossed = seen @ other[0]
    inverse = np.linalg.inv(covariance)
    assert mean[0, 0] == pytest.approx(5.0 + crossed @ inverse @ off, rel=1e-6)
    assert sigma[0, 0] ** 2 == pytest.approx(other[0] @ other[0] + 0.05**2 - crossed @ inverse @ crossed, rel=1e-6)


def observed(fault: str) -> Observed:
    """What the simulated bench read of a board."""
    return observed_of(small_table(), attempt_at(fault).lines)


@pytest.mark.parametrize("fault", ["R5B open", "DZ12 open", "RL5 short", "RS12 short"])
def test_the_true_fault_is_likeliest(fault: str):
    """Before any prior."""
    scores = Likelihood(small_table(), observed(fault)).scores()
    assert AMONG[int(scores.hypothesis[: len(AMONG)].argmax())] == fault


def test_a_good_board_lies_where_good_boards_lie():
    """All readings together are as far off as so many readings should be, and not further."""
    likelihood = Likelihood(small_table(), observed(""))
    fit = likelihood.fit(np.array([0]))
    assert 0.2 * fit.count[0] < fit.distance[0] < 2.0 * fit.count[0]


def test_what_was_not_read_says_nothing():
    """Without any reading every hypothesis is as likely as any other."""
    nothing = observed_of(small_table(), [])
    scores = Likelihood(small_table(), nothing).scores().hypothesis
    assert scores == pytest.approx(scores[0])


def test_over_range_where_a_fault_never_is_speaks_against_it():
    """A millionth, not nothing: a meter may err."""
    table, seen = small_table(), observed("")
    place = [one.name for one in table.columns].index("logic-short")
    over = seen.over.copy()
    over[place] = True
    values = seen.values.copy()
    values[place] = np.nan
    before, after = (
        Likelihood(table, one).scores().hypothesis[0] for one in (seen, replace(seen, over=over, values=values))
    )
    assert after < before


def test_a_needle_that_does_not_touch_is_the_needles():
    """Its own hypothesis stands far before every fault of the board."""
    table, seen = small_table(), observed("")
    scores = Likelihood(table, replace(seen, contacts=frozenset({"TP4"}), bad=True)).scores().hypothesis
    best = table.hypotheses[int(scores.argmax())]
    assert (best.kind, best.parts) == (Kind.CONTACT, ("TP4",))


def test_a_known_voltage_that_reads_wrong_is_the_meters():
    """The instrument's hypothesis explains it, and no part of the board."""
    table, seen = small_table(), observed("")
    scores = Likelihood(table, replace(seen, reference=False, bad=True)).scores().hypothesis
    assert table.hypotheses[int(scores.argmax())].kind is Kind.INSTRUMENT


def test_the_supplys_limit_speaks_for_what_draws_too_much():
    """A hypothesis under which the supply limits gains by it, one under which it never does loses."""
    table = small_table()
    limiting = np.zeros(len(table.states), bool)
    limiting[1] = True
    share = table.limiting.copy()
    share[AMONG.index("RL5 short"), 1] = 1.0
    nothing = observed_of(table, [])
    scores = Likelihood(replace(table, limiting=share), replace(nothing, limiting=limiting)).scores().hypothesis
    assert AMONG[int(scores[: len(AMONG)].argmax())] == "RL5 short"
