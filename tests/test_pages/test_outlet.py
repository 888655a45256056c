"""The page of an outlet: the answer first, the curve with the budget on it, all from the record alone."""

from __future__ import annotations

import re
from dataclasses import replace
from xml.etree import ElementTree

import pytest
from stations import ROOT

from batchtest.capacity.outlet import as_json, of_json
from batchtest.errors import RecordError
from batchtest.nouns import Outcome
from batchtest.pages import attempt_page
from batchtest.pages.attempt import meaning_of
from batchtest.pages.chart import Chart, span_of
from batchtest.pages.outlet import outlet_page
from batchtest.pages.outlet_words import MEANINGS, next_steps
from batchtest.pages.words import danger
from batchtest.records.record import Record, read_record

KEPT = ROOT / "tests" / "test_records" / "old" / "3" / "reports" / "outlets" / "CB-001.1.csv"


@pytest.fixture(scope="module")
def record() -> Record:
    """A load test of the demo's outlet behind its resistor, kept from the day that outlets came."""
    return read_record(KEPT)


@pytest.fixture(scope="module")
def page(record: Record) -> str:
    """Its page."""
    return attempt_page(record)


def test_the_answer_stands_first_in_one_sentence(page: str):
    """Current, ambient and what limits it, before everything but the verdict."""
    sentence = re.search(r'<p class="cause">(Usable to [^<]+)</p>', page)
    assert sentence is not None
    assert re.fullmatch(r"Usable to \d+ mA at 50 C, limited by the voltage that is left\.", sentence[1])
    assert page.index(sentence[0]) < page.index('class="meaning"')


def test_the_page_is_a_pure_function_of_its_record(record: Record, page: str):
    """The same record, read again: the same bytes; so that verify can render it again."""
    assert attempt_page(read_record(KEPT)) == page


def test_what_was_known_goes_into_a_record_and_comes_back(record: Record):
    """All that the page is worked out from beside the readings."""
    kept = record.context.outlet
    assert kept is not None
    assert as_json(of_json(kept)) == kept


def test_a_record_without_what_was_known_is_damaged(record: Record):
    """It says so, and shows nothing made up."""
    bare = replace(record, closing=replace(record.closing, context=replace(record.context, outlet=None)))
    with pytest.raises(RecordError, match=r"CB-001\.1\.csv: does not say what was known of the outlet; it is damaged"):
        outlet_page(bare)


def test_every_demand_is_on_the_curve_and_in_the_table(page: str, record: Record):
    """Its name on the drawing, what it needs, and how it fares in four states with its margin."""
    told = outlet_page(record)
    assert [each.name for each in told.budget] == ["display", "soil-sensors", "router"]
    for each in told.budget:
        assert f">{each.name}</text>" in told.curve
        assert len(each.states) == 4
        assert all(re.match(r"[+-]\d+\.\d\d V", state.margin) for state in each.states)
    words = {each.name: each.states[3].word for each in told.budget}
    assert words == {"display": "works", "soil-sensors": "works", "router": "does not work"}
    assert page.count("mark-fail") >= 2


def test_the_drawings_are_well_formed_and_say_what_they_show(record: Record):
    """Each parses as XML, and has a label for who cannot see it."""
    told = outlet_page(record)
    for drawing in (told.curve, *told.resistance):
        root = ElementTree.fromstring(str(drawing))
        assert root.attrib["role"] == "img"
        assert root.attrib["aria-label"]


def test_verdicts_are_told_apart_without_colour(page: str):
    """Beside each word stands its shape."""
    assert len(re.findall(r'<use href="#mark-fail"/></svg>does not work', page)) == 2
    assert len(re.findall(r'<use href="#mark-pass"/></svg>works', page)) == 10


def test_what_another_part_would_do_stands_side_by_side(record: Record):
    """As it is first; a fuse passes several times more until it trips."""
    told = outlet_page(record)
    assert told.fitted[0].name == "as it is"
    assert "at once and for good" in told.fitted[0].short
    assert re.search(r"for up to .* s, then .* mA until it is unplugged", told.fitted[-1].short)


def test_the_heat_of_the_resistor_stands_against_what_it_may_shed(record: Record):
    """0.25 A in 15 ohm and 5 % are 0.98 W of the 2 W that it may shed at 50 C."""
    told = outlet_page(record)
    assert told.with_heat
    assert told.reads[-1].heat == "980 mW, 49 %"


def test_derived_lines_are_told_apart(page: str):
    """They are all of one point: their names tell them apart."""
    assert re.search(r'<th scope="row">source resistance, cold</th>', page)
    assert re.search(r'<th scope="row">usable current at 50 C</th>', page)


def test_a_page_needs_no_network(page: str):
    """One file: nothing is fetched, nothing runs."""
    assert "<script" not in page
    assert not re.search(r'(?:src|href)="(?!#)', page)


@pytest.mark.parametrize("outcome", list(Outcome))
def test_every_outcome_has_a_meaning_and_a_next_step(outcome: Outcome):
    """In words that speak of an outlet, not of a board."""
    assert meaning_of("outlet", outcome, 0) == MEANINGS[outcome]
    assert next_steps(outcome)
    assert not any("board" in step for step in next_steps(outcome))


def test_a_host_that_was_not_shown_dead_is_a_danger(record: Record):
    """Without the last look the page says so, of the host."""
    lines = [line for line in record.lines if line.measurement.phase.value != "power-down"]
    said = danger(Outcome.PASS, lines, "outlet")
    assert said is not None
    assert "the host was dead" in said


def test_ticks_are_round_and_hold_all_values():
    """Whatever lies on a chart lies between its first and last tick, a lone value too."""
    for values in ([0.0, 0.19], [12.31, 8.4], [5.0, 5.0], [0.0, 0.0], [-0.02, 0.06]):
        span = span_of(values, "V")
        assert span.start <= min(values)
        assert span.end >= max(values)
        assert 2 <= len(span.ticks) <= 8


def test_points_beyond_a_chart_are_held_at_its_edge():
    """Nothing is drawn over the page."""
    chart = Chart(span_of([0.0, 1.0], "A"), span_of([0.0, 10.0], "V"))
    assert chart.at(5.0, 50.0) == chart.at(1.0, 10.0)


def test_times_are_written_in_seconds():
    """Not in thousands of them."""
    assert span_of([0.0, 2400.0], "s").scale.written == "s"
