"""Run rules against the published probabilities and run lengths, worked out from the rules themselves."""

from __future__ import annotations

import math
from itertools import pairwise, permutations, product
from statistics import NormalDist

import numpy as np
import pytest

from batchtest.review.stats.run_rules import NELSON, WESTERN_ELECTRIC, alternating, completed

NORMAL = NormalDist()
#: A point for each zone of a chart, and how probable the zone is for a process in control.
POINTS = (-3.5, -2.5, -1.5, -0.5, 0.5, 1.5, 2.5, 3.5)
EDGES = (-math.inf, -3.0, -2.0, -1.0, 0.0, 1.0, 2.0, 3.0, math.inf)
SHARES = tuple(
    (NORMAL.cdf(high) if high < math.inf else 1.0) - (NORMAL.cdf(low) if low > -math.inf else 0.0)
    for low, high in pairwise(EDGES)
)
ZONES = dict(zip(POINTS, SHARES, strict=True))


def probability(rule, zones):
    """Probability that points drawn at random complete a rule somewhere in as many points as it looks at."""
    return sum(
        math.prod(zones[point] for point in window)
        for window in product(zones, repeat=rule.points)
        if any(completed([rule], window))
    )


def test_the_rules_are_the_published_eight(reference):
    """Nelson's list, in his order."""
    case = reference("11_outliers_and_run_rules", "nelson-list")
    assert case["expected"]["rules"] == [rule.words for rule in NELSON]


@pytest.mark.parametrize("number", [1, 2, 5, 6])
def test_rules_about_zones_complete_as_often_as_published(reference, number):
    """Every way that a window can fall into the zones is tried, those that a rule cannot tell apart as one."""
    case = reference("11_outliers_and_run_rules", "nelson-list")
    merged = {
        2: {-0.5: 0.5, 0.5: 0.5},
        6: {-1.5: sum(SHARES[:3]), 0.5: sum(SHARES[3:5]), 1.5: sum(SHARES[5:])},
    }
    found = probability(NELSON[number - 1], merged.get(number, ZONES))
    assert case["expected"]["p"][number - 1] == pytest.approx(found, rel=case["tolerance"]["rel"])


@pytest.mark.parametrize(("number", "inside", "outside"), [(7, 0.5, 1.5), (8, -1.5, 0.5)])
def test_rules_about_every_point_complete_as_often_as_published(reference, number, inside, outside):
    """All fifteen points, or all eight, have to lie there: with one elsewhere the rule is not completed."""
    case, rule = reference("11_outliers_and_run_rules", "nelson-list"), NELSON[number - 1]
    share = sum(share for point, share in ZONES.items() if (abs(point) < 1) == (abs(inside) < 1))
    assert case["expected"]["p"][number - 1] == pytest.approx(share**rule.points, rel=case["tolerance"]["rel"])
    assert any(completed([rule], [inside] * rule.points))
    for place in range(rule.points):
        points = [outside if other == place else inside for other in range(rule.points)]
        assert not any(completed([rule], points))


def test_six_rising_or_falling_are_two_orders_of_all(reference):
    """Of the 720 orders of six points the rule takes two."""
    expected = reference("11_outliers_and_run_rules", "nelson-list")["expected"]["p"][2]
    taken = sum(any(completed([NELSON[2]], order)) for order in permutations(range(6)))
    assert expected == pytest.approx(taken / math.factorial(6), rel=1e-4)


def zigzags(length):
    """Orders that rise and fall by turns, beginning with a rise: Euler's zigzag number, by his triangle."""
    row = [1]
    for _ in range(length - 1):
        row = [0, *np.cumsum(row[::-1]).tolist()]
    return sum(row)


def test_alternating_points_are_the_zigzag_orders(reference):
    """As many orders of seven points alternate as Euler counts twice; for fourteen his count is the published."""
    expected = reference("11_outliers_and_run_rules", "nelson-list")["expected"]["p"][3]
    assert 2 * zigzags(7) == sum(map(alternating(7), permutations(range(7))))
    assert expected == pytest.approx(2 * zigzags(14) / math.factorial(14), rel=1e-4)
    assert completed(NELSON, [(-1) ** place * 0.1 for place in range(14)])[13] == (NELSON[3],)
    assert not completed(NELSON, [(-1) ** place * 0.1 for place in range(13)])[12]


def test_one_point_in_370_is_beyond_three_sigma(reference):
    """Rule 1 alone (Western Electric 1956)."""
    case = reference("11_outliers_and_run_rules", "rule1")
    found = probability(WESTERN_ELECTRIC[0], ZONES)
    assert case["expected"]["p"] == pytest.approx(found, abs=case["tolerance"]["abs_p"])
    assert case["expected"]["arl"] == pytest.approx(1 / found, abs=case["tolerance"]["abs_arl"])


def run_length(rules):
    """Mean points until any of some rules is completed: a Markov chain whose states are the points that still count."""
    keep = max(rule.points for rule in rules) - 1
    states, rows = {(): 0}, []
    for state in (waiting := [()]):
        row = {}
        for point, share in ZONES.items():
            now = (*state, point)
            if completed(rules, now)[-1]:
                continue
            after = forgotten(now[-keep:] if keep else (), rules)
            if after not in states:
                states[after] = len(states)
                waiting.append(after)
            row[states[after]] = row.get(states[after], 0.0) + share
        rows.append(row)
    chain = np.zeros((len(states), len(states)))
    for place, row in enumerate(rows):
        chain[place, list(row)] = list(row.values())
    return np.linalg.solve(np.eye(len(states)) - chain, np.ones(len(states)))[0]


def forgotten(state, rules):
    """A state with what no rule looks at taken out of it: zones below the rule's own, and runs that have ended."""
    least = {3: 2.0, 5: 1.0}.get(rules[-1].points, 0.0)
    kept = tuple(math.copysign(least + 0.5, point) if abs(point) > least else 0.0 for point in state)
    if least:
        return kept
    run = [point for place, point in enumerate(kept) if all(after == point for after in kept[place:])]
    return tuple(run)


@pytest.mark.parametrize("place", range(4))
def test_rules_together_run_as_long_as_published(reference, place):
    """Rule 1 with each other of the Western Electric rules (Champ and Woodall 1987; from memory)."""
    case = reference("11_outliers_and_run_rules", "we-arl-a")
    found = run_length([WESTERN_ELECTRIC[0], *([WESTERN_ELECTRIC[place]] if place else [])])
    assert case["expected"]["arl"][place] == pytest.approx(found, abs=case["tolerance"]["abs"])


def test_the_handbook_examples_signal_nothing(reference):
    """Flow rates of ten batches are in control by rule 1, as printed (NIST/SEMATECH 6.3.2.2)."""
    case = reference("01_handbook_statistics", "imr-flowrate")
    points = [(value - 50.81) / 1.6647 for value in case["inputs"]["x"]]
    assert case["expected"]["signals"] == [rule for rules in completed(WESTERN_ELECTRIC[:1], points) for rule in rules]


def test_a_point_on_the_centre_line_ends_a_run():
    """It is on neither side: eight points with one of them there are no run of eight."""
    assert completed(WESTERN_ELECTRIC, [0.4] * 8)[7] == (WESTERN_ELECTRIC[3],)
    assert not any(completed(WESTERN_ELECTRIC, [0.4] * 4 + [0.0] + [0.4] * 3))


def test_equal_points_neither_rise_nor_alternate():
    """A step of nothing ends a rise, and is no turn."""
    assert not any(completed([NELSON[2], NELSON[3]], [0.1] * 20))
    assert not any(completed([NELSON[2]], [0.1, 0.2, 0.3, 0.3, 0.4, 0.5, 0.6]))
