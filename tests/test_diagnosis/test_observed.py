"""A record's lines as a fault table sees them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from batchtest.diagnosis import Probed
from batchtest.diagnosis.observed import observed_of
from batchtest.errors import SetupError
from batchtest.nouns import Judgement, Line, Measurand, Phase, Verdict

from .tables import attempt_at, refused_at, small_table


def place(name: str) -> int:
    """Place of a column."""
    return [one.name for one in small_table().columns].index(name)


def changed(lines: tuple[Line, ...], name: str, **reading: object) -> list[Line]:
    """The lines with one reading changed."""
    return [
        replace(one, reading=replace(one.reading, **reading)) if one.measurement.name == name else one for one in lines
    ]


def test_a_pass_is_read_whole_and_nothing_is_bad():
    """Every reading has its value; no state was in the supply's limit; the last step may be repeated."""
    seen = observed_of(small_table(), attempt_at("").lines)
    missing = [
        one.name
        for one, value, over in zip(small_table().columns, seen.values, seen.over, strict=True)
        if not one.probe and np.isnan(value) and not over
    ]
    assert missing == []
    assert not seen.bad
    assert seen.free.all()
    assert not seen.limiting.any()
    assert seen.held == "soft start 24.0 V"


def test_a_cold_fail_leaves_what_came_after_unread():
    """It was never powered: nothing is known of the supply, and no powered probe makes sense."""
    seen = observed_of(small_table(), attempt_at("RL5 short").lines)
    assert seen.bad
    assert not seen.free.any()
    assert not seen.limiting.any()
    assert seen.held == ""


def test_a_crossed_abort_bound_is_a_bound_and_no_value():
    """The raw value was taken on its way."""
    seen = observed_of(small_table(), attempt_at("DZ12 open").lines)
    assert np.isnan(seen.values[place("analog @ 24.0 V in")])
    assert seen.beyond[place("analog @ 24.0 V in")] > 14.0
    assert seen.held == "soft start 12.0 V"


def test_over_range_beyond_a_bound_is_a_bound_too():
    """The meter said overflow on a range that holds the bound."""
    lines = changed(attempt_at("DZ12 open").lines, "analog @ 24.0 V in", value=None, raw="+9.90000000E+37")
    seen = observed_of(small_table(), lines)
    assert seen.beyond[place("analog @ 24.0 V in")] == 100.0
    assert not seen.over[place("analog @ 24.0 V in")]


def test_over_range_on_ohms_is_an_event():
    """A proven over-range is no missing value."""
    seen = observed_of(small_table(), refused_at("cable.W4 open"))
    assert seen.over[place("position-output")]
    assert np.isnan(seen.values[place("position-output")])


def test_what_did_not_settle_says_nothing_for_certain():
    """It is bad, and has no value."""
    lines = changed(attempt_at("").lines, "logic @ load point 1", settled=False)
    assert np.isnan(observed_of(small_table(), lines).values[place("logic @ load point 1")])


def test_where_all_that_was_read_held_the_supply_ended_it():
    """A soft start that stays in the supply's limit leaves no reading of its own, only the power-down."""
    lines = [
        one
        for one in attempt_at("").lines
        if one.measurement.phase in (Phase.GATE, Phase.POWER_DOWN) or "@ 5.00 V in" in one.measurement.name
    ]
    seen = observed_of(small_table(), lines)
    assert [small_table().states[index] for index in np.flatnonzero(seen.limiting)] == ["soft start 12.0 V"]
    assert seen.bad
    assert seen.held == "soft start 5.00 V"


def test_a_load_point_that_ends_an_attempt_was_in_the_limit_itself():
    """There the supply is looked at after the readings."""
    gone = ("load point 3", "regulation", "output resistance")
    lines = [one for one in attempt_at("").lines if not any(word in one.measurement.name for word in gone)]
    seen = observed_of(small_table(), lines)
    assert [small_table().states[index] for index in np.flatnonzero(seen.limiting)] == ["load point 2"]


def test_the_first_of_two_readings_counts():
    """What is read again before power is the same, or the attempt is refused."""
    [first, *_] = [one for one in attempt_at("").lines if one.measurement.name == "logic-short"]
    again = replace(first, reading=replace(first.reading, value=1.0))
    assert observed_of(small_table(), [first, again]).values[place("logic-short")] == first.reading.value


def test_a_needle_that_failed_its_check_is_named():
    """By its terminal."""
    bad = Judgement(verdict=Verdict.FAIL, why="above")
    lines = [
        replace(one, judgement=bad)
        if one.measurement.measurand is Measurand.CONTACT and one.measurement.point == "TP4"
        else one
        for one in attempt_at("").lines
    ]
    seen = observed_of(small_table(), lines)
    assert seen.contacts == {"TP4"}
    assert seen.bad


def test_a_probe_goes_where_it_was_taken():
    """Ohms unpowered; volts in the last state that held; open is over range."""
    probes = [
        Probed(spot="TP7", value=4.9, unit="V"),
        Probed(spot="TP7", value=5600.0, unit="ohm"),
        Probed(spot="B12", value=None, unit="ohm"),
    ]
    seen = observed_of(small_table(), attempt_at("DZ12 open").lines, probes)
    assert seen.values[place("TP7 @ soft start 12.0 V")] == 4.9
    assert seen.values[place("TP7 cold")] == 5600.0
    assert seen.over[place("B12 cold")]
    assert seen.over[place("B12 cold, high range")]


def test_a_meter_goes_on_to_the_high_range_by_itself():
    """Over range on the low one is known then, too."""
    seen = observed_of(small_table(), attempt_at("RL5 short").lines, [Probed(spot="TP7", value=250e3, unit="ohm")])
    assert seen.over[place("TP7 cold")]
    assert seen.values[place("TP7 cold, high range")] == 250e3


@pytest.mark.parametrize(
    ("fault", "probe", "message"),
    [
        pytest.param(
            "RL5 short", Probed(spot="TP7", value=4.9, unit="V"), r"never powered.*give ohms", id="not-powered"
        ),
        pytest.param("", Probed(spot="TP77", value=1.0, unit="ohm"), r"no place 'TP77'.*TP7", id="no-such-place"),
        pytest.param(
            "", Probed(spot="TP7", value=1.0, unit="V", state="mains"), r"no reading 'TP7 @ mains'", id="state"
        ),
    ],
)
def test_a_probe_that_cannot_be_is_refused(fault: str, probe: Probed, message: str):
    """With the cure."""
    with pytest.raises(SetupError, match=message):
        observed_of(small_table(), attempt_at(fault).lines, [probe])
