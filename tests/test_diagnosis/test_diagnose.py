"""From records of the simulated bench to the part that was truly wrong."""

from __future__ import annotations

from dataclasses import replace

import pytest

from batchtest.circuits import with_fault
from batchtest.diagnosis import NEW, RETURNED, Diagnosis, Kind, Priors, Probed, diagnose, learned
from batchtest.diagnosis.readings import BY_HAND_OHM, cold_probe
from batchtest.nouns import Judgement, Measurand, Verdict

from .tables import all_faults, attempt_at, refused_at, small_table


def found(fault: str, *probed: Probed, priors: Priors = NEW) -> Diagnosis:
    """The diagnosis of a board with one fault."""
    return diagnose(small_table(), attempt_at(fault).lines, priors, probed)


@pytest.mark.parametrize("priors", [NEW, RETURNED], ids=["new", "returned"])
@pytest.mark.parametrize("fault", ["R5B open", "DZ12 open", "RL5 short", "RS12 short", "R5A short"])
def test_the_failed_part_is_named_with_confidence(fault: str, priors: Priors):
    """Found cold, at the soft start, or only by the slope of a rail: the part, and to change it."""
    one = found(fault, priors=priors)
    assert (one.causes[0].hypotheses[0].name, one.advice) == (fault, "change")
    assert one.causes[0].probability > 0.9


def test_probabilities_sum_to_one():
    """What is told, what is too unlikely to be told, and the unknown."""
    for fault in ("R5B open", "host.DS2 open", "Q5 open-e"):
        one = found(fault)
        assert sum(cause.probability for cause in one.causes) + one.unknown == pytest.approx(1.0, abs=0.02)


def test_a_pass_has_no_causes():
    """Nothing is said of a board without a bad reading."""
    one = found("")
    assert (one.causes, one.unknown, one.advice) == ((), 0.0, "nothing")


def test_two_ways_for_one_part_to_fail_are_one_cause():
    """The transistor is changed whichever leg is open."""
    one = found("Q5 open-e")
    assert one.causes[0].parts == ("Q5",)
    assert {each.name for each in one.causes[0].hypotheses} >= {"Q5 open-b", "Q5 open-e"}
    assert one.advice == "change"


def test_what_readings_cannot_tell_apart_is_one_group_and_is_measured_next():
    """Three diodes in a string are alike from outside; between them is where to measure, with nothing powered."""
    one = found("host.DS2 open")
    assert set(one.causes[0].parts) == {"host.DS1", "host.DS2", "host.DS3"}
    assert one.advice == "measure"
    assert one.next[0].spot.name in ("host.SD1", "host.SD2")
    assert (one.next[0].unit, one.next[0].state) == ("ohm", "")


def test_measuring_what_is_suggested_isolates_the_part():
    """Told what each place truly reads, the string comes down to the one diode: a fault of the nest, not the board."""
    table = small_table()
    row = [one.name for one in table.hypotheses].index("host.DS2 open")
    probes: list[Probed] = []
    one = found("host.DS2 open")
    while one.advice == "measure":
        spot = one.next[0].spot.name
        names = [each.name for each in table.columns]
        shown = [names.index(cold_probe(spot, range_)) for range_ in BY_HAND_OHM]
        values = [float(table.mean[row, place]) for place in shown if table.over[row, place] < 0.5]
        probes.append(Probed(spot=spot, value=values[0] if values else None, unit="ohm"))
        one = found("host.DS2 open", *probes)
    assert one.causes[0].parts == ("host.DS2",)
    assert one.advice == "bench"
    assert len(probes) <= 2


def test_the_reading_that_speaks_most_comes_first():
    """With what a good board reads there, and what the cause would."""
    [first, *_] = found("RS12 short").causes[0].because
    assert first.name in ("analog load regulation", "analog output resistance")
    assert first.expected is not None
    assert first.explained is not None
    assert first.value == pytest.approx(first.explained, rel=0.1)
    assert abs(first.value - first.expected) > 5 * abs(first.value - first.explained)


def test_an_abort_bound_that_was_crossed_is_told_as_well():
    """The value on its way counts as a reason."""
    assert found("DZ12 open").causes[0].because[0].name == "analog @ 24.0 V in"


def test_a_fault_that_no_table_has_is_unknown():
    """A leak of 47 ohm over the 3.3 V rail is not explained by a part of this table: nobody is sent to change one."""
    one = found("RL33 short")
    assert one.unknown > 0.5 or one.causes[0].probability < 0.8
    assert one.advice in ("unknown", "measure", "no further")


def test_a_meter_that_reads_wrong_is_not_the_boards_fault():
    """Every reading of ohms three percent high: the bench is named, and no part."""
    lines = [
        replace(
            one,
            reading=replace(one.reading, value=one.reading.value * 1.03),
            judgement=replace(one.judgement, verdict=Verdict.FAIL) if one.judgement else None,
        )
        if one.measurement.measurand is Measurand.RESISTANCE and one.reading.value is not None
        else one
        for one in attempt_at("").lines
    ]
    one = diagnose(small_table(), lines, NEW)
    assert one.advice == "bench"
    assert {each.kind for each in one.causes[0].hypotheses} == {Kind.INSTRUMENT}


def test_a_wire_of_the_cable_is_the_benchs():
    """A cut wire is looked for in the cable."""
    one = diagnose(small_table(), refused_at("cable.W4 open"), NEW)
    assert one.advice == "bench"
    assert one.causes[0].hypotheses[0].name == "cable: YE is cut"


def test_what_cured_boards_before_decides_between_what_is_alike():
    """Forty cures by DS3 make it the likeliest of the three."""
    one = found("host.DS2 open", priors=learned(NEW, {"host.DS3": 40}))
    assert one.causes[0].hypotheses[0].parts == ("host.DS3",)


def test_a_needle_that_does_not_touch_is_the_benchs():
    """Although no reading of the table was taken."""
    lines = attempt_at("RL5 short").lines
    needle = next(one for one in lines if one.measurement.measurand is Measurand.CONTACT)
    failed = [replace(needle, judgement=Judgement(verdict=Verdict.FAIL))]
    one = diagnose(small_table(), failed, NEW)
    assert one.advice == "bench"


def test_the_fault_is_put_in_by_the_same_name_as_in_the_table():
    """What the simulated bench calls a fault is what the table calls it."""
    fault = all_faults()["R5B open"]
    good = all_faults()["good"].assembly
    assert with_fault(good, "board.R5B open").elements == fault.assembly.elements
