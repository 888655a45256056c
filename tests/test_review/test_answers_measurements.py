"""What is said of one measurement: moments, margins, capability, charts, outliers and drift."""

from __future__ import annotations

import math
import re

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.review.answers import control, outlying, shifts, spread
from batchtest.review.answers.asked import together
from batchtest.review.answers.model import Fit
from batchtest.review.stats.outliers import quartiles
from batchtest.review.stats.tolerance import one_sided, two_sided

from .rows import Bin, Golden, Outlier, individuals, measured, micro, row

SEED = 5
FORTY = np.random.default_rng(SEED).normal(5.0, 0.02, 40).round(6).tolist()
VALUES = st.lists(st.integers(-(10**9), 10**9).map(lambda steps: steps / 1e6), min_size=1, max_size=30)


@settings(deadline=None)
@given(VALUES, VALUES)
def test_rows_add_up_to_the_row_of_all_their_values(some, others):
    """Batch sums together are the sums of all, to the digit, extremes too."""
    assert measured(some + others) == together([measured(some), measured(others)])


@pytest.mark.parametrize(
    "other",
    [
        pytest.param({"upper": 5.2}, id="another-limit"),
        pytest.param({"unit": "ohm"}, id="another-unit"),
        pytest.param({"board": "mist"}, id="another-board"),
    ],
)
def test_what_is_another_measurement_is_never_pooled(other):
    """Rows with other limits or another unit are refused, with both named."""
    with pytest.raises(ValueError, match="two measurements, which are not pooled"):
        together([measured([5.0]), measured([5.0], **other)])


def test_rows_without_values_keep_what_is_known():
    """An extreme or an uncertainty that one row lacks is that of the other."""
    found = together([measured([]), measured([5.1], uncertainty_micro=40), measured([4.9])])
    assert (found.least_micro, found.most_micro, found.uncertainty_micro) == (4_900_000, 5_100_000, 40)


@settings(deadline=None)
@given(VALUES)
def test_moments_are_those_of_numpy(values):
    """Means and spreads from whole sums are those of the values."""
    found = spread.moments(measured(values))
    assert found.mean == pytest.approx(float(np.mean(values)), abs=1e-9)
    if len(values) > 1:
        assert found.sd == pytest.approx(float(np.std(values, ddof=1)), abs=1e-6)
    assert (found.least, found.greatest) == (min(values), max(values))


def test_no_value_has_no_moments():
    """Nothing read is `None`, not 0."""
    assert spread.moments(measured([])) is None


def test_the_least_margin_is_that_of_the_worst_board():
    """4.80 V is 50 mV inside 4.75 V, a fifth of the half window; its serial is known while it is among the latest."""
    row, latest = measured([5.0, 4.8, 5.1], near_lower=1), individuals([5.0, 4.8, 5.1])
    found = spread.margin(row, spread.moments(row), latest)
    assert (found.least, found.of_window) == pytest.approx((0.05, 0.2))
    assert (found.serial, found.nearest, found.near.count) == ("VN-0002", "lower", 1)
    assert spread.margin(row, spread.moments(row), latest[2:]).serial == ""


def test_a_margin_outside_is_negative_and_may_have_one_side():
    """6.0 V over 5.25 V is 0.75 V outside; with one limit there is no window to be a share of."""
    row = measured([5.0, 6.0], lower=None)
    found = spread.margin(row, spread.moments(row), ())
    assert (found.least, found.nearest, found.of_window) == (-0.75, "upper", None)
    assert found.in_sd == pytest.approx(-0.25 / math.sqrt(0.5))
    row = measured([5.0], lower=None, upper=None)
    assert spread.margin(row, spread.moments(row), ()) is None


def test_equal_values_have_no_margin_in_deviations():
    """Where nothing varies no number of deviations is made up."""
    row = measured([5.0, 5.0])
    assert spread.margin(row, spread.moments(row), ()).in_sd is None


def strips(counts, low=4.75, high=5.25):
    """Rows of a histogram."""
    return [
        row(Bin, lower=4.75, upper=5.25, from_micro=micro(low), to_micro=micro(high), strip=strip, values=count)
        for strip, count in counts.items()
    ]


def test_a_histogram_has_its_empty_bars_and_open_ends_only_where_values_are():
    """Fifty strips of 10 mV between the limits, and one open bar above them for the three that lie there."""
    found = spread.histogram(strips({0: 2, 25: 7, 50: 3}))
    assert (len(found), sum(bar.count for bar in found)) == (51, 12)
    assert (found[0].lower, found[0].upper, found[25].count) == pytest.approx((4.75, 4.76, 7))
    assert (found[-1].lower, found[-1].upper, found[-1].count) == (5.25, None, 3)
    assert spread.histogram(strips({-1: 1, 3: 1}))[0].lower is None
    assert spread.histogram([]) == ()


def test_equal_values_are_one_bar():
    """All on one spot is a bar without a width."""
    (bar,) = spread.histogram(strips({49: 4, 50: 1}, 5.0, 5.0))
    assert (bar.lower, bar.upper, bar.count) == (5.0, 5.0, 5)


@pytest.mark.parametrize(
    ("row", "why"),
    [
        pytest.param(measured(FORTY[:24]), "24 values; from 25 on", id="few"),
        pytest.param(measured([]), "0 values; from 25 on", id="none"),
        pytest.param(measured([5.0] * 30), "all values are equal", id="equal"),
        pytest.param(measured(FORTY, None, None), "no limits", id="no-limits"),
    ],
)
def test_no_capability_is_made_up(row, why):
    """Below 25 values, without a spread or limits there is none, and why is said."""
    assert spread.capability(row, spread.moments(row), []) == (None, why)


def test_capability_tells_spread_within_batches_from_that_of_all():
    """Two batches that lie apart: Cpk, within them, is better than Ppk, of all."""
    batches = [measured([value + off for value in FORTY]) for off in (-0.05, 0.05)]
    row = together(batches)
    found, why = spread.capability(row, spread.moments(row), spread.subgroups(batches))
    assert why == ""
    assert found.cpk > found.ppk > 0
    assert found.ppk_interval.lower < found.ppk < found.ppk_interval.upper
    alone, _ = spread.capability(row, spread.moments(row), spread.subgroups([row]))
    assert (alone.cpk, alone.cp, alone.within_sd) == (None, None, None)


def test_a_tolerance_interval_has_an_end_for_each_limit():
    """Forty boards: the two-sided factor with two limits, the one-sided with one; inside the limits or not."""
    both, one = measured(FORTY), measured(FORTY, upper=None)
    found, lower = (
        spread.tolerance_interval(both, spread.moments(both)),
        spread.tolerance_interval(one, spread.moments(one)),
    )
    assert (found.factor, lower.factor) == (two_sided(40, 0.95, 0.95), one_sided(40, 0.95, 0.95))
    assert (found.inside_limits, found.free_from, lower.free_from) == (True, 93, 59)
    assert (lower.exact.upper, lower.howe) == (None, None)
    assert found.exact.lower == pytest.approx(np.mean(FORTY) - found.factor * np.std(FORTY, ddof=1))
    tight = measured(FORTY, 4.97, 5.03)
    assert not spread.tolerance_interval(tight, spread.moments(tight)).inside_limits
    assert spread.tolerance_interval(measured([5.0]), spread.moments(measured([5.0]))) is None


@pytest.mark.parametrize(
    ("row", "fit", "why"),
    [
        pytest.param(measured(FORTY, near_lower=8), Fit.TIGHT, r"20 % \(8 of 40\)", id="tight"),
        pytest.param(measured(FORTY, 4.9, 5.1, near_lower=2), Fit.FITS, r"5 % \(2 of 40\)", id="fits"),
        pytest.param(measured(FORTY, 4.9, 5.1, near_upper=3), Fit.FITS, r"7.5 % \(3 of 40\)", id="may-be-chance"),
        pytest.param(measured(FORTY, 3.0, 7.0), Fit.LOOSE, "standard deviations from the", id="loose"),
        pytest.param(measured(FORTY[:9]), Fit.CANNOT_TELL, "too few to say: 9 values", id="few"),
    ],
)
def test_limits_are_tight_or_loose_only_where_the_numbers_say_so(row, fit, why):
    """Tight needs more near values than chance gives, loose needs twelve deviations; few values say neither."""
    moments = spread.moments(row)
    found = spread.limit_fit(row, moments, spread.margin(row, moments, ()))
    assert found.fit is fit
    assert re.search(why, found.why)


def test_no_limit_fits_nothing():
    """Without limits there is nothing to say."""
    row = measured(FORTY, None, None)
    assert spread.limit_fit(row, spread.moments(row), None) is None


def test_board_charts_signal_the_board_that_jumps():
    """One board 0.3 V up is beyond three sigma on the chart of values, and so is the step to it."""
    values = [*FORTY[:30], 5.3, *FORTY[30:]]
    single, ranges, weighted = control.board_charts(individuals(values))
    assert [point.label for point in single.points if any("3 sigma" in s.words for s in point.signals)] == ["VN-0031"]
    assert [point.label for point in ranges.points if point.signals] == ["VN-0031", "VN-0032"]
    assert (single.kind, ranges.kind, weighted.kind) == ("individuals", "moving range", "weighted mean")
    assert single.note == ""


def test_many_boards_are_held_against_all_of_nelsons_rules():
    """Six rising in a row are a signal from twenty-five boards on, and not among few."""
    rising = [4.99, 4.995, 5.0, 5.005, 5.01, 5.015]
    values = [*FORTY[:25], *rising]
    rules = {signal.words for point in control.board_charts(individuals(values))[0].points for signal in point.signals}
    assert "6 rising or falling" in rules
    assert not any(point.signals for point in control.board_charts(individuals(rising))[0].points)


def test_a_slow_drift_is_seen_by_sums_before_single_points():
    """A drift of a tenth of a sigma a board: the running sums say so, and that boards resemble each other is noted."""
    values = [value + 0.002 * place for place, value in enumerate(FORTY)]
    single, _, weighted = control.board_charts(individuals(values))
    assert any(signal.rule == "cumulative sum" for point in weighted.points for signal in point.signals)
    assert "boards resemble the one before" in single.note


def test_few_or_equal_boards_are_charted_with_a_warning():
    """Two equal boards draw lines that mean little, and the chart says so; a single board draws none."""
    found = control.board_charts(individuals([5.0, 5.0]))
    assert found[0].note == "lines from 2 boards are rough; from 25 on they count as known; all values are equal"
    assert not any(point.signals for chart in found for point in chart.points)
    assert control.board_charts(individuals([5.0])) == ()


def test_batch_charts_signal_the_batch_that_lies_apart():
    """Of five batches the last lies 0.1 V up; a batch of one board is left out, and said."""
    batches = [measured(FORTY[place * 8 : place * 8 + 8], batch=f"b{place}") for place in range(4)]
    batches += [measured([value + 0.1 for value in FORTY[32:]], batch="b4"), measured([5.0], batch="b5")]
    means, sds = control.batch_charts(batches)
    assert [point.label for point in means.points if point.value > point.upper and point.signals] == ["b4"]
    assert [bool(point.signals) for point in sds.points] == [False] * 5
    assert means.note == "1 with a single value left out"
    assert control.batch_charts(batches[4:]) == ()


def test_part_average_limits_come_from_the_latest_and_outliers_from_their_batch():
    """A passed board ten robust deviations out is listed; one that failed elsewhere is not."""
    latest = individuals(FORTY)
    low, median, high = (micro(value) for value in (4.99, 5.0, 5.01))
    apart = [
        row(Outlier, serial=serial, verdict="pass", outcome=outcome, value_micro=micro(value), found=4,
            first_micro=low, median_micro=median, third_micro=high)
        for serial, outcome, value in (("A", "pass", 5.1), ("B", "pass", 4.85), ("C", "fail", 6.0))
    ]  # fmt: skip
    found = outlying.part_average(measured(FORTY), latest, apart)
    assert [(each.serial, round(each.robust_sds, 2)) for each in found.outliers] == [("B", -10.12), ("A", 6.75)]
    assert (found.found, found.count, found.median) == (4, 40, quartiles(FORTY).median)
    assert 4.75 <= found.limits.lower < found.limits.upper <= 5.25
    assert found.outer.lower < found.inner.lower < found.median


def test_few_or_equal_boards_have_no_part_average():
    """Thirty boards at least, with quartiles that differ."""
    assert outlying.part_average(measured(FORTY), individuals(FORTY[:29]), ()) is None
    assert outlying.part_average(measured(FORTY), individuals([5.0] * 40), ()) is None


def test_a_value_far_from_all_others_takes_the_trust_from_what_assumes_none():
    """One board 0.2 V out makes a spread that is nobody's; forty alike make none such, and nor does nothing known."""
    far = [*FORTY, 5.2]
    assert outlying.far_apart(spread.moments(measured(far)), individuals(far)).startswith("values far from all others")
    assert outlying.far_apart(spread.moments(measured(FORTY)), individuals(FORTY)) == ""
    assert outlying.far_apart(spread.moments(measured(far)), ()) == ""


def two_batches(up, size=40, **known):
    """A batch, and one after it whose mean lies higher."""
    values = FORTY[:size]
    return [measured(values, batch="a", **known), measured([value + up for value in values], batch="b", **known)]


def test_a_shift_of_the_station_is_not_one_of_the_boards():
    """The reference board went up by 50 mV too: what is left of the shift is nothing."""
    golden = [
        row(Golden, name="logic @ load point 1", unit="V", batch=batch, value_micro=micro(value))
        for batch, value in (("a", 5.0), ("a", 5.002), ("b", 5.051))
    ] + [row(Golden, name="other", unit="V", batch="b", value_micro=0)]
    reference = shifts.reference_means(golden, "logic @ load point 1", "V")
    (found,) = shifts.shifts(two_batches(0.05), reference, 1)
    assert (found.shift, found.reference, found.corrected) == pytest.approx((0.05, 0.05, 0.0), abs=1e-6)
    assert (found.before, found.batch, found.told) == ("a", "b", "cannot tell")


def test_a_shift_without_a_reference_board_may_be_the_stations():
    """50 mV up is told with that doubt; within a reading's uncertainty it is no more than that."""
    (found,) = shifts.shifts(two_batches(0.05), {}, 1)
    assert found.told == "50.00 mV higher; no reference board says whether it is the station's"
    assert found.interval.lower < 0.05 < found.interval.upper
    (found,) = shifts.shifts(two_batches(-0.05, uncertainty_micro=60_000), {}, 1)
    assert found.told == "50.00 mV lower, within the uncertainty of a reading: it may be the station's"
    (found,) = shifts.shifts(two_batches(0.05), {"a": 5.0, "b": 5.0}, 1)
    assert found.told == "50.00 mV higher"


def test_a_shift_has_to_stand_out_among_all_that_were_looked_at():
    """What is clear for one comparison is not among ten thousand; single boards tell nothing."""
    assert shifts.shifts(two_batches(0.012), {}, 1)[0].told != "cannot tell"
    assert shifts.shifts(two_batches(0.012), {}, 10_000)[0].told == "cannot tell"
    (found,) = shifts.shifts(two_batches(0.5, size=1), {}, 1)
    assert (found.interval, found.told) == (None, "cannot tell")
    assert shifts.shifts([measured([], batch="a"), *two_batches(0.5)[1:]], {}, 1) == ()
