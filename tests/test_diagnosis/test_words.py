"""What is said of a diagnosis: parts, joints, readings and needles, and nothing that needs a course in statistics."""

from __future__ import annotations

import pytest

from batchtest.diagnosis.model import Defect, Hypothesis, Kind
from batchtest.diagnosis.words import (
    advice_words,
    by_part,
    cause_words,
    coverage_summary,
    deviation_words,
    evidence_words,
    next_words,
    suggestion_words,
)
from test_diagnosis.opinions import COVERAGE, bridge, cause, deviation, diagnosis, fault, sight, suggestion

R5B = cause(fault("R5B", "open"))


def bench(name: str, kind: Kind, defect: Defect) -> Hypothesis:
    """A fault that is none of the board's."""
    return Hypothesis(name=name, kind=kind, defect=defect, parts=("x",), mode="")


@pytest.mark.parametrize(
    ("members", "said"),
    [
        pytest.param([fault("R5B", "open")], "R5B is open", id="one"),
        pytest.param(
            [fault("R5B", "open"), fault("R5B", "missing", Defect.MISSING)], "R5B is open or missing", id="one-part"
        ),
        pytest.param([fault("DS1", "open"), fault("DS2", "open")], "one of DS1, DS2 is open", id="string"),
        pytest.param(
            [fault(f"host.DS{n}", "open", kind=Kind.FIXTURE) for n in (1, 2, 3)],
            "one of DS1, DS2, DS3 in the fixture is open",
            id="fixture-string",
        ),
        pytest.param(
            [fault("host.DS1", mode, defect, Kind.FIXTURE) for mode, defect in (("open", None), ("x", Defect.MISSING))],
            "DS1 in the fixture is open or missing",
            id="fixture-part",
        ),
        pytest.param(
            [fault("host.DS1", "open", kind=Kind.FIXTURE)],
            "DS1 in the fixture is open",
            id="fixture-by-its-printed-name",
        ),
        pytest.param([fault("R5B", "open"), fault("R5A", "short")], "R5B is open, or R5A is short", id="two"),
        pytest.param([fault("Q12", "open-c")], "Q12 is open at its collector", id="leg"),
        pytest.param([fault("Q12", "short-be")], "Q12 is short from base to emitter", id="two-legs"),
        pytest.param([fault("E33", "stuck-low")], "E33 is stuck low", id="stuck"),
        pytest.param([fault("DZ5", "reversed", Defect.REVERSED)], "DZ5 is the wrong way round", id="reversed"),
        pytest.param([fault("R5B", "is 24 kohm", Defect.VALUE)], "R5B is 24 kohm, a wrong value", id="value"),
        pytest.param(
            [bridge("b12", "vin", "DZ12", "RC12")], "solder joins b12 and vin, between DZ12 and RC12", id="bridge"
        ),
        pytest.param(
            [bridge("b12", "vin", *(f"R{n}" for n in range(9)))],
            "solder joins b12 and vin, between R0, R1, R2, R3, R4, R5 and 3 more",
            id="bridge-somewhere",
        ),
        pytest.param([bench("poor contact at TP4", Kind.CONTACT, Defect.CONTACT)], "poor contact at TP4", id="needle"),
        pytest.param(
            [fault(f"R{n}", "open") for n in range(9)], "one of R0, R1, R2, R3, R4, R5 or 3 more is open", id="many"
        ),
    ],
)
def test_a_cause_is_said_as_a_repairer_would(members, said):
    """With all that cannot be told from it."""
    assert cause_words(cause(*members)) == said


def test_a_cause_of_many_members_stays_readable():
    """The likeliest first, the rest counted."""
    members = [
        fault("R5B", "open"),
        bench("meter's ohms reads wrong by some 1%", Kind.INSTRUMENT, Defect.BIAS),
        fault("R5A", "short"),
        fault("Q5", "open-b"),
        fault("E33", "stuck-low"),
    ]
    assert cause_words(cause(*members)) == ("R5B is open, or R5A is short, or Q5 is open at its base, or 2 more such")
    assert cause_words(cause(*members[1:])).startswith("meter's ohms reads wrong by some 1%, or R5A is short, or ")


@pytest.mark.parametrize(
    ("read", "said"),
    [
        pytest.param(
            deviation("string @ 24 V in", 22.0, 2.5), "string at 24 V in reads 22.0 V, not 2.50 V", id="volts"
        ),
        pytest.param(
            deviation("logic-short", None, 284.0, "ohm"), "logic-short reads over range, not 284 ohm", id="open"
        ),
        pytest.param(deviation("x", 3200.0, None, "ohm"), "x reads 3.20 kohm, not over range", id="not-open"),
        pytest.param(deviation("x", 4.9812, 4.9791), "x reads 4.981 V, not 4.979 V", id="as-many-digits-as-it-takes"),
        pytest.param(deviation("x", 4.98123456, 4.98123457), "x reads 4.98123 V, not 4.98123 V", id="no-more-than-6"),
    ],
)
def test_a_reading_is_set_beside_that_of_a_good_board(read, said):
    """In as few digits as tell them apart."""
    assert deviation_words(read) == said


def test_the_two_readings_that_speak_most_are_named():
    """More would be read by nobody."""
    read = [deviation(name, 1.0, 2.0) for name in ("a", "b", "c")]
    assert evidence_words(diagnosis(cause(fault("R5B", "open"), because=read))) == (
        "a reads 1.00 V, not 2.00 V; b reads 1.00 V, not 2.00 V"
    )
    assert evidence_words(diagnosis()) == ""


@pytest.mark.parametrize(
    ("first", "advice", "said"),
    [
        pytest.param(R5B, "change", "change R5B", id="change"),
        pytest.param(
            cause(bridge("b12", "vin", "DZ12", "RC12")), "look",
            "look at the solder from b12 to vin, between DZ12 and RC12, before anything is changed", id="bridge",
        ),
        pytest.param(
            cause(fault("DS1", "open", kind=Kind.FIXTURE)), "look", "look at DS1 before anything is changed", id="look"
        ),
        pytest.param(R5B, "measure", "cannot be told yet", id="measure"),
        pytest.param(
            cause(fault("R5B", "open"), fault("R5A", "short")), "no further",
            "cannot be told further by measuring; look at the joints of R5B and R5A, then change R5B and "
            "R5A one at a time, and test",
            id="no-further",
        ),
        pytest.param(
            cause(fault("RL5", "short"), bridge("sg", "v5", "QL5", "E33")), "no further",
            "cannot be told further by measuring; look for solder from sg to v5, then change RL5, and test",
            id="no-further-with-solder",
        ),
        pytest.param(
            cause(bridge("sg", "v5", "QL5", "E33"), bridge("a", "b", "R1")), "no further",
            "cannot be told further by measuring; look for solder from sg to v5 and from a to b, and test",
            id="solder-alone",
        ),
        pytest.param(
            cause(bench("meter's ohms reads wrong by some 1%", Kind.INSTRUMENT, Defect.BIAS)), "bench",
            "not the board: meter's ohms reads wrong by some 1%; mend that, and test the board again", id="bench",
        ),
        pytest.param(R5B, "unknown", "nothing that the fault table knows explains these readings: look the board over, "
                     "think of two faults at once, and of the bench", id="unknown"),
        pytest.param(R5B, "nothing", "no reading speaks against this board", id="nothing"),
    ],
)  # fmt: skip
def test_it_ends_in_what_to_do(first, advice, said):
    """One part is changed only where it is one part; a bridge is looked at, a bench mended."""
    assert advice_words(diagnosis(first, advice=advice)) == said


def test_without_any_cause_nothing_is_to_be_changed():
    """Whatever the advice."""
    assert advice_words(diagnosis(advice="change")).startswith("nothing that the fault table knows")


def test_the_next_measurement_says_where_how_and_what_it_would_mean():
    """Needles, state, and the answers of the likeliest causes; those that read alike stand together."""
    causes = [R5B, cause(fault("R5A", "short")), cause(fault("RZ5", "open"))]
    asked = suggestion(R5B_open=1000.0, R5A_short=1010.0, RZ5_open=None)
    assert suggestion_words(asked, causes) == (
        "TP7 (net zr5), black on TP1, power off and discharged, in ohms. about 1.00 kohm: R5B is open, or R5A is "
        "short; over range: RZ5 is open"
    )


def test_members_of_one_cause_are_told_apart_by_their_answers():
    """That is what the measurement is for."""
    causes = [cause(fault("E33", "stuck-low"), fault("RX33", "open"), fault("Q33", "open-e"))]
    asked = suggestion(**{"E33_stuck-low": 150.0, "RX33_open": 5500.0, "Q33_open-e": 150.0})
    assert suggestion_words(asked, causes).endswith(
        "in ohms. about 150 ohm: E33 is stuck low, or Q33 is open at its emitter; about 5.50 kohm: RX33 is open"
    )


def test_a_measurement_under_power_comes_with_its_caution():
    """And with the state in which it is taken, and where the leg is."""
    said = suggestion_words(suggestion("V", "load point 2", "internal", R5B_open=3.0), [R5B])
    assert said.startswith(
        "TP7 (net zr5) on a leg of QE5 and DZ5, black on TP1, in volts with power on at load point 2; "
    )
    assert "one slip shorts two pins: clip the black lead" in said
    assert said.endswith(". about 3.00 V: R5B is open")


def test_a_measurement_that_tells_between_others_names_no_answer():
    """What is not among the first causes is not listed."""
    assert suggestion_words(suggestion(X_open=3.0), [R5B]) == (
        "TP7 (net zr5), black on TP1, power off and discharged, in ohms"
    )


def test_the_measurement_that_is_worth_most_is_said():
    """Where there is any."""
    assert next_words(diagnosis(R5B, then=[suggestion(), suggestion("V")])) == suggestion_words(suggestion(), [R5B])
    assert next_words(diagnosis(R5B)) == ""


def test_coverage_is_said_with_its_counts():
    """Of how many faults."""
    assert coverage_summary(COVERAGE) == (
        "vent on vent-nest: of 6 single faults 3 fail the board (50 %), 1 move readings that stay within their limits, "
        "2 no reading of the procedure can see"
    )


def test_faults_are_gathered_by_part():
    """Parts of the fixture after those of the board, and bridges after both."""
    assert by_part(COVERAGE.invisible) == [("RSWA", ["open", "1 Mohm"])]
    fixture = sight(fault("host.DS1", "open", kind=Kind.FIXTURE))
    assert [part for part, _ in by_part((fixture, *COVERAGE.seen))] == [
        "R5B",
        "DS1 in the fixture",
        "solder joins v5 and sg, between RL5 and R5B",
    ]


def test_all_legs_of_a_transistor_are_said_together():
    """And two of them one by one."""
    shorts = [sight(fault("Q12", f"short-{legs}")) for legs in ("ce", "be", "bc")]
    opens = [sight(fault("Q12", f"open-{leg}")) for leg in "cbe"]
    missing = sight(fault("Q12", "missing", Defect.MISSING))
    assert by_part([*shorts, missing, *opens]) == [
        ("Q12", ["short between any two legs", "open at any leg", "missing"])
    ]
    assert by_part(opens[:2]) == [("Q12", ["open at its collector", "open at its base"])]
