"""The page of one attempt: the verdict, what to do next, every reading, and what it rests on."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import date

import pytest

from batchtest.errors import RecordError
from batchtest.nouns import InstrumentIdentity, Line, Outcome, Phase, Role, Verdict
from batchtest.pages import attempt_page, write_attempt_page
from batchtest.pages.render import css_string
from batchtest.records.chain import short
from batchtest.records.record import read_record
from batchtest.records.seal import read_seal
from test_pages.examples import context, gate, journalled, line, lines, loads, power_down, record
from test_pages.html import Page


def _text(known):
    return Page(attempt_page(known)).text


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
def test_the_verdict_is_a_word_and_a_shape(outcome):
    """The main heading is the outcome's word in capitals beside its shape."""
    heading = re.search(r"<h1>(.*?)</h1>", attempt_page(record(outcome, "cause", lines=lines())))
    assert f"#mark-{outcome}" in heading[1]
    assert heading[1].endswith(f"<span>{outcome.upper()}</span>")


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        pytest.param(Outcome.FAIL, "One retest is allowed", id="fail"),
        pytest.param(Outcome.DOUBTFUL, "Measure again with a smaller U", id="doubtful"),
        pytest.param(Outcome.STOPPED, "Nothing here counts for or against it", id="stopped"),
        pytest.param(Outcome.REFUSED, "it must be vent-lead, pushed home", id="refused"),
    ],
)
def test_anything_but_a_pass_says_why_and_what_to_do(outcome, said):
    """First cause in plain words, then the next steps."""
    text = _text(record(outcome, "the cause", lines=lines()))
    assert "What decided it the cause" in text
    assert said in text


def test_a_pass_asks_for_nothing():
    """A board that passed shows no cause and no danger."""
    text = _text(record(Outcome.PASS, lines=lines()))
    assert "What decided it" not in text
    assert "Danger" not in text


def test_a_second_failure_goes_to_repair():
    """The one retest is spent at attempt 2."""
    text = _text(record(Outcome.FAIL, "cause", attempt=2, lines=lines()))
    assert "No retest is left without a second person" in text
    assert "One retest is allowed" not in text


def test_a_cold_failure_was_never_powered():
    """A board with a short is not to be powered anywhere."""
    assert "was never powered" in _text(record(Outcome.FAIL, "logic-short: 1.2 ohm", lines=tuple(gate())))


@pytest.mark.parametrize(
    ("name", "row"),
    [
        pytest.param("analog", "load point 3: 40.0 mA 11.74000 V 11.52 to 12.48 V 0.00060 V pass", id="volts"),
        pytest.param("core", "load point 3: 20.0 mA 3.2200 V 3.168 to 3.432 V 0.0040 V pass", id="decimals-follow-U"),
        pytest.param("bias", "load point 3 -2.60000 V -2.76 to -2.04 V 0.00060 V pass", id="negative-no-load"),
    ],
)
def test_a_rail_shows_value_limits_and_uncertainty(name, row):
    """A reading's row holds the value, both bounds, U and the verdict's word."""
    known = next(line for line in loads() if line.measurement.name == f"{name} @ load point 3")
    body = re.search(r"<tbody>.*?</tbody>", attempt_page(record(Outcome.PASS, lines=(known,))), re.DOTALL)
    assert Page(body[0]).text == f"{name} {row}"


def test_readings_stand_by_phase_with_the_rails_first():
    """What is asked for comes first, the way there after it."""
    headings = re.findall(r'<h2 id="(\w+)">', attempt_page(record(Outcome.PASS, lines=lines())))
    assert headings[:5] == ["load", "derived", "soft_start", "gate", "power_down"]


def test_a_reading_that_does_not_pass_says_why():
    """The judgement's words stand in the row below."""
    page = attempt_page(record(Outcome.FAIL, "logic @ load point 1: high", lines=lines(5.251)))
    assert page.count('<tr class="mind why">') == 3
    assert "above the upper limit" in page


def test_a_value_that_was_still_moving_says_so():
    """A reading that did not settle is marked, whatever it was judged."""
    known = line("logic @ load point 1", 9.0, upper=5.0)
    moving = replace(known, reading=replace(known.reading, settled=False))
    assert "above the upper limit; did not settle" in _text(record(Outcome.FAIL, "x", lines=(moving,)))
    silent = replace(moving, judgement=replace(moving.judgement, why=""))
    assert "did not settle" in _text(record(Outcome.FAIL, "x", lines=(silent,)))


def test_the_deciding_reading_is_the_one_the_cause_names():
    """A doubtful reading earlier on does not push itself forward."""
    known = (line("core @ load point 1", 3.1, upper=3.0, point="core"), line("logic @ load point 1", 5.3, upper=5.2))
    text = _text(record(Outcome.FAIL, "logic @ load point 1: 5.3 V is high", lines=known))
    assert "read 5.30000 V limits ≤ 5.2 V" in text


def test_a_deciding_reading_at_its_limit_is_drawn_in_close_up():
    """U and guard band are seen only near the limit."""
    known = (line("logic @ load point 1", 5.1997, lower=4.8, upper=5.2),)
    text = _text(record(Outcome.DOUBTFUL, "logic @ load point 1: close", lines=known))
    assert "Close-up of the limit" in text
    assert "Close-up" not in _text(record(Outcome.FAIL, "logic @ load point 1", lines=lines(5.3)))


def test_a_pass_names_what_came_closest_to_a_limit():
    """The rail with the fewest U left."""
    known = (
        line("core @ load point 1", 3.39, lower=3.2, upper=3.4, U=0.001),
        line("logic @ load point 1", 5.0, lower=4.8, U=0.001),
        line("unlimited", 5.0),
    )
    assert "core @ load point 1, 10.0 mV inside it (10 times its U)" in _text(record(Outcome.PASS, lines=known))
    assert "Closest" not in _text(record(Outcome.PASS, lines=known[2:]))


@pytest.mark.parametrize("simulated", [True, False], ids=["simulated", "real"])
def test_a_simulated_bench_is_marked_on_screen_and_paper(simulated):
    """At the top of the page, and at the foot of every sheet."""
    page = attempt_page(record(Outcome.PASS, lines=lines(), simulated=simulated))
    assert ("No real board was measured" in page) is simulated
    assert (r"\000028 SIMULATED\000020 BENCH\000029" in page) is simulated


def between(first_V: float, last_V: float) -> list[Line]:
    """The last look at all points, between two readings of the known voltage."""
    known = [
        line("reference", volts, phase=Phase.POWER_DOWN, point="reference", lower=4.99, upper=5.01, U=0.001)
        for volts in (first_V, last_V)
    ]
    return [known[0], *power_down(), known[1]]


@pytest.mark.parametrize(
    ("outcome", "known", "live"),
    [
        pytest.param(Outcome.FAIL, tuple(loads()), True, id="powered-and-never-shown-dead"),
        pytest.param(Outcome.FAIL, (*loads(), *power_down()), False, id="shown-dead"),
        pytest.param(Outcome.STOPPED, tuple(gate()), True, id="bench-at-fault"),
        pytest.param(Outcome.FAIL, tuple(gate()), False, id="cold"),
        pytest.param(Outcome.FAIL, (*loads(), line("residual", 3.0, phase=Phase.POWER_DOWN)), True, id="still-charged"),
        pytest.param(
            Outcome.FAIL, (*loads(), line("residual", None, phase=Phase.POWER_DOWN)), True, id="no-reading-is-no-zero"
        ),
        pytest.param(
            Outcome.FAIL,
            (*loads(), line("residual", 0.2, phase=Phase.POWER_DOWN, upper=0.05)),
            True,
            id="above-its-own-limit",
        ),
        pytest.param(Outcome.FAIL, (*loads(), *between(5.0, 5.0)), False, id="between-known-voltages"),
        pytest.param(Outcome.FAIL, (*loads(), *between(5.0, 0.0)), True, id="the-last-known-voltage-is-wrong"),
        pytest.param(Outcome.FAIL, (*loads(), *between(0.0, 5.0)), True, id="the-first-known-voltage-is-wrong"),
        pytest.param(Outcome.FAIL, (*loads(), *between(5.0, 5.0)[:-1]), True, id="the-last-look-broke-off"),
        pytest.param(Outcome.FAIL, (*loads(), *between(5.0, 5.0)[:1]), True, id="no-point-was-looked-at"),
        pytest.param(Outcome.FAIL, (line("residual", 11.0, phase=Phase.GATE, upper=0.05),), True, id="came-in-charged"),
    ],
)
def test_a_board_that_may_be_live_is_a_danger(outcome, known, live):
    """Only a reading shows that a board is dead."""
    assert ("Danger: treat as live" in _text(record(outcome, "cause", lines=known))) is live


def test_an_altered_record_says_so_on_its_page():
    """Nobody takes a changed record for a result."""
    assert "ALTERED." in _text(replace(record(Outcome.PASS, lines=lines()), unaltered=False))


def test_the_page_carries_what_the_record_rests_on():
    """Hashes, software, ambient, operator, fixture, cable, sources of limits, cautions, no claim of accreditation."""
    text = _text(record(Outcome.PASS, lines=lines()))
    for known in ("3c" * 32, "5f" * 32, "first of its station's chain", "batchtest 0.1.0", "23.0 C", "K. Ahn"):
        assert known in text
    for known in ("vent-nest", "vent-lead", "data sheet of the vent motor driver", "no accredited calibration"):
        assert known in text
    assert "licensed or competent persons where local law says so" in text


@pytest.mark.parametrize(
    ("rule", "said"),
    [
        pytest.param("guarded", "guard band w = U", id="guarded"),
        pytest.param("plain", "w = 0", id="plain"),
        pytest.param("other", "Decision rule: other.", id="unknown"),
    ],
)
def test_the_decision_rule_stands_in_words(rule, said):
    """A customer can read how it was judged."""
    assert said in _text(record(Outcome.PASS, lines=lines(), rule=rule))


@pytest.mark.parametrize(
    ("dates", "said"),
    [
        pytest.param({"calibrated": date(2026, 3, 4)}, "2026-03-04, 10 days before the test", id="dated"),
        pytest.param({"due": date(2027, 3, 4)}, "due 2027-03-04", id="due"),
        pytest.param({"due": date(2026, 3, 1)}, "OVERDUE since 2026-03-01", id="overdue"),
        pytest.param(
            {"calibrated": date(2025, 1, 1), "due": date(2026, 1, 1)}, "2025-01-01, OVERDUE", id="dated-and-overdue"
        ),
        pytest.param({"calibration_age_d": 90.0}, "taken as 90 days old", id="age"),
        pytest.param({}, "not known", id="nothing"),
    ],
)
def test_an_instrument_tells_the_age_of_its_calibration(dates, said):
    """As seen from the day of the test, not from today."""
    meter = InstrumentIdentity(
        role=Role.METER, maker="m", model="m", serial="1", firmware="1", address="a", dialect="d", **dates
    )
    assert said in _text(record(Outcome.PASS, lines=lines(), instruments=(meter,)))


def test_an_attempt_without_a_reading_has_a_page():
    """A bench that fell silent at once leaves a page that says so."""
    text = _text(record(Outcome.STOPPED))
    assert "No reading was taken" in text
    assert "No cause was recorded" in text


def test_the_page_of_a_record_on_disk_stands_beside_it(tmp_path):
    """Written whole under the record's name, and nothing else is left."""
    path = journalled(tmp_path, "VN-0007")
    page = write_attempt_page(path)
    assert page == path.with_name("VN-0007.1.html")
    assert "VN-0007" in page.read_text(encoding="utf-8")
    assert not list(path.parent.glob("*.tmp"))


def test_a_page_that_cannot_be_written_is_an_error(tmp_path):
    """The message names the page."""
    path = journalled(tmp_path, "VN-0007")
    path.with_suffix(".html").mkdir()
    with pytest.raises(RecordError, match=r"VN-0007\.1\.html cannot be written"):
        write_attempt_page(path)


def test_readings_are_counted_by_verdict():
    """Lines that are not judged count as readings only."""
    text = _text(record(Outcome.PASS, lines=(*loads(), *power_down())))
    assert f"12 {Verdict.PASS}" in text
    assert "18 readings in 14.2 s" in text


def test_a_context_is_shown_as_it_was():
    """Attempt, batch, board and revision stand in the head."""
    known = context(attempt=3)
    text = _text(record(Outcome.PASS, lines=lines(), attempt=3))
    assert f"{known.serial} attempt 3 · batch {known.batch} board vent revision B" in text


@pytest.mark.parametrize(("count", "spans"), [(6, False), (7, True)], ids=["short", "long"])
def test_a_long_table_with_limits_of_its_own_takes_the_whole_width(count, spans):
    """In half a page its limits would be folded or cut off."""
    known = [line(f"pin map {number}", 5.0, phase=Phase.GATE, lower=number / 10) for number in range(count)]
    assert ('class="block spans"' in attempt_page(record(Outcome.PASS, lines=tuple(known)))) is spans


def test_the_head_of_the_chain_stands_on_the_page(tmp_path):
    """In short beside the serial and at the foot of every printed sheet, and whole among the hashes."""
    path = journalled(tmp_path, "VN-0001")
    sha256 = read_record(path).sha256
    page = write_attempt_page(path).read_text()
    assert f"chain <code>{short(sha256)}</code>" in page
    assert css_string(f"VN-0001 attempt 1: pass, chain {short(sha256)} (SIMULATED BENCH)") in page
    assert f"<code>{sha256}</code>" in page
    assert read_seal(page.encode()).record == sha256
