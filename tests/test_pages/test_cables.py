"""The page of cables: what a wrong one would burn, what tells two apart, what no reading sees."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path

import pytest

from batchtest.cables.damage import Cascade
from batchtest.errors import RecordError
from batchtest.files.cable import Matings
from batchtest.pages.cable_harm import cell_mark
from batchtest.pages.cable_words import distance_words, findings, mating_words
from batchtest.pages.cables import cables_page, write_cables_page
from batchtest.pages.words import CAUTIONS
from test_pages.cable_examples import APART, BACKWARDS, ID, LIBRARY, NEAR, RACC, cell, pair, report
from test_pages.html import Page
from test_pages.test_browser import A4, CHROMIUM, printed

MADE = datetime(2026, 3, 14, 9, 12, tzinfo=UTC)
VENT = LIBRARY.cables["vent-lead"]
WORN = VENT.model_copy(update={"matings": Matings(rated=100, used=100)})
BARE = VENT.model_copy(update={"matings": None, "owner": None, "id_resistor": None, "hosts": ()})
REPORTS = {
    "demo": report(),
    "good": report(
        cells=(cell("vent-lead", "vent", "fits"),),
        pairs=(pair("vent-lead", "mist-lead", APART),),
        proposals=(),
        blind=(),
    ),
    "alone": report(
        cells=(cell("vent-lead", "vent", "fits"),), pairs=(), proposals=(), blind=(), cables={"vent-lead": BARE}
    ),
    "unsolved": report(cells=(cell("mist-lead", "vent", "destroys", unsolved=("no load, drives off",)),)),
    "worn": report(cables={**LIBRARY.cables, "vent-lead": WORN}),
}
PAGES = {name: cables_page(known, LIBRARY, "simulated", MADE) for name, known in REPORTS.items()}


@pytest.fixture(params=PAGES, ids=str)
def text(request):
    """Pages of several libraries."""
    return PAGES[request.param]


def test_the_page_is_whole_and_needs_nothing_else(text):
    """Every element is closed in its place; no script, no network, no other file."""
    page = Page(text)
    assert page.faults == []
    assert page.all("script", "link", "img", "iframe", "object") == []
    assert not re.search(r"https?:|@import|url\((?!#)", text)


def test_the_page_can_be_read_aloud(text):
    """Headings skip no level, header cells say what they head, drawings are described or silent, ids are unique."""
    page = Page(text)
    levels = [int(name[1]) for name, _ in page.all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))
    assert all("scope" in attributes for _, attributes in page.all("th"))
    assert all("aria-hidden" in attributes or attributes.get("aria-label") for _, attributes in page.all("svg"))
    known = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    wanted = {attributes["href"][1:] for _, attributes in page.all("a", "use")}
    wanted |= {
        attributes[name]
        for _, attributes in page.elements
        for name in attributes
        if name in ("aria-labelledby", "aria-describedby")
    }
    assert len(known) == len(set(known))
    assert wanted <= set(known)


def test_the_worst_comes_first():
    """What destroys stands at the head with its part and ratio, and its details before those of what is harmless."""
    text = Page(PAGES["demo"]).text
    assert (
        "1 of 6 combinations of host, cable and board would destroy a part: "
        "mist-lead between cabinet and vent destroys host.RACC (2.25 x)." in text
    )
    assert text.index("mist-lead between cabinet and vent: DESTROYS") < text.index(
        "long-lead between cabinet and vent: harmless but wrong"
    )


def test_what_burns_is_told_with_stress_rating_ratio_pin_and_colour():
    """Each part with its numbers, the pin and colour that bring it, and the state."""
    text = Page(PAGES["demo"]).text
    assert "host.RACC power 4.501 W 2.000 W 2.25 x board pin 6 (PK) no load, drives off" in text
    assert "its pink wire (PK), board pin 6, goes to host pin 6, not 5" in text


def test_what_burns_next_is_told():
    """After each part, with what goes astray then; told once where it stays the same."""
    text = Page(PAGES["demo"]).text
    assert "Once host.RACC has burned open, nothing else passes its rating" in text
    assert "host.Q1 reverse base-emitter voltage 9.224 V 5.000 V 1.84 x" in text
    assert "Once host.DS1 and host.Q1 have burned open" in text
    assert text.count("board pin 5 (sg) is at 22.2 V, not 2.60 V") == 1
    assert "Goes astray: as before" in text


def test_a_drive_that_runs_backwards_is_told_at_the_head():
    """Harmless to parts is not harmless: in the matrix, and in a sentence of its own."""
    said = dict(findings(report()))
    told = "3 combinations are wrong and burn nothing. A drive runs backwards with long-lead between cabinet and vent."
    assert said[told] == "harmless but wrong"
    assert "harmless but wrong, runs backwards" in Page(PAGES["demo"]).text


def test_the_gravest_finding_comes_first():
    """Bad news, then doubtful, then good."""
    order = ["fits", "harmless but wrong", "destroys"]
    weights = [order.index(verdict) for _, verdict in findings(report(pairs=(pair("vent-lead", "mist-lead", APART),)))]
    assert weights == sorted(weights, reverse=True)
    assert set(weights) == {0, 1, 2}


def test_a_pair_that_is_too_close_is_loud_with_its_cure():
    """Never rounded up to the bound, and the id resistor that would help stands beside it."""
    text = Page(PAGES["demo"]).text
    assert (
        "vent-lead and long-lead CANNOT BE TOLD APART at vent-nest with vent: "
        "the best reading gives 9.9 U, and 10 U are needed" in text
    )
    assert (
        "Cure: give long-lead an id resistor of 1.3 kohm, 1 %, between host pins 8 and 7 (at least 13.7 U from all)."
        in text
    )
    assert PAGES["demo"].count('class="not-apart"') == 1


def test_a_pair_without_proposal_has_a_cure_all_the_same():
    """Where no value of the series helps, or no point reads one."""
    text = Page(cables_page(report(proposals=()), LIBRARY, "simulated", MADE)).text
    assert (
        "Cure: give one of them an id resistor between two host pins that no wire uses, and the fixture a point" in text
    )


def test_a_pair_is_told_with_both_values_and_both_distances():
    """Over range is a value with a meaning."""
    text = Page(PAGES["demo"]).text
    assert "spare: resistance, range 100 kohm at 100 uA over range 700.1 mohm 3311 U 3300 U" in text
    assert "id: resistance, range 10.0 kohm at 1.00 mA 1.000 kohm 2.200 kohm 700 U 42.9 U" in text


def test_good_news_is_told_with_the_nearest_pair():
    """Not only that all is well: how well."""
    said = dict(findings(REPORTS["good"]))
    assert set(said.values()) == {"fits"}
    assert any("the nearest are vent-lead and mist-lead, 3300 U at vent-nest with vent" in text for text in said)
    assert "danger" not in re.sub(r"<style>.*?</style>", "", PAGES["good"], flags=re.S).split('<h2 id="matrix">')[0]


def test_faults_that_no_reading_sees_are_told_with_their_cure():
    """Where one does harm it is marked, and asks for more than readings."""
    text = Page(PAGES["demo"]).text
    assert (
        "2 wiring faults inside a cable of the right id cannot be seen by any reading, "
        "1 with harm: vent-lead: WH and GN are swapped." in text
    )
    assert f"WH and GN are swapped {BACKWARDS} prove continuity at both ends" in text
    assert "Not seen and without harm: GY is cut." in text


def test_no_operating_point_is_never_told_as_harmless():
    """A cell that was not solved in some state says so, at once and after a part has burned."""
    text = Page(PAGES["unsolved"]).text
    assert "mist-lead between cabinet and vent: MAY DESTROY, NOT SOLVED" in text
    assert "Cannot tell, no operating point: no load, drives off" in text
    cascade = Cascade(after=("host.RACC",), stressed=(), unsolved=("full load",))
    burned = report(cells=(cell("mist-lead", "vent", "destroys", stressed=(RACC,), next=(cascade,)),))
    text = Page(cables_page(burned, LIBRARY, "simulated", MADE)).text
    assert "Once host.RACC has burned open Cannot tell, no operating point: full load" in text


def test_every_pair_and_every_cable_has_its_drawing():
    """Three cables: three pairs, three cables, and the one that burns over the one that belongs there."""
    drawings = [
        attributes["aria-label"]
        for name, attributes in Page(PAGES["demo"]).all("svg")
        if attributes.get("class") == "pins"
    ]
    assert drawings == [
        "Pins of vent-lead and mist-lead",
        *(f"Pins of {one} and {other}" for one, other in _pairs_of_the_library()),
        *(f"Pins of {name}" for name in LIBRARY.cables),
    ]  # fmt: skip


def _pairs_of_the_library() -> list[tuple[str, str]]:
    used = [fixture.cable for fixture in LIBRARY.fixtures.values()]
    names = sorted(LIBRARY.cables, key=lambda name: name not in used)
    return [(one, other) for at, one in enumerate(names) for other in names[at + 1 :]]


def test_the_library_is_told_with_owner_length_matings_and_id():
    """Each cable's facts; one that is worn out is loud, here and at the head."""
    text = Page(PAGES["worn"]).text
    assert (
        "length 4 m owner workshop id resistor 1 kohm, 1 %, between host pins 8 and 7 "
        "connectors 100 of 100 matings: WORN, replace it" in text
    )
    assert "vent-lead: 100 of 100 matings: WORN, replace it." in text
    assert mating_words(VENT).endswith("matings")
    bare = Page(PAGES["alone"]).text
    assert (
        "for hosts those of its fixtures length 4 m owner not known id resistor none connectors matings not counted"
        in bare
    )


def test_mains_in_the_host_defers_to_local_codes(text):
    """The caution stands near the head of the page, and all of them at its foot."""
    said = Page(text).text
    assert said.index("Mains inside the host") < said.index("What each cable would do")
    assert said.count(CAUTIONS[1]) == 2
    assert all(caution in said for caution in CAUTIONS)


def test_a_hostile_name_is_shown_and_does_nothing():
    """Names and colours from files are text."""
    hostile = "</style><script>alert('1')</script>\"&"
    wires = tuple(wire.model_copy(update={"colour": hostile}) for wire in VENT.wires)
    cable = VENT.model_copy(update={"owner": hostile, "wires": wires})
    known = report(
        cables={**LIBRARY.cables, hostile: cable}, pairs=(replace(pair(hostile, hostile, NEAR), fixture=hostile),)
    )
    page = Page(cables_page(known, LIBRARY, hostile, MADE))
    assert page.faults == []
    assert page.all("script") == []
    assert hostile in page.text


def test_the_shapes_of_cells_differ():
    """Fits, harmless and destroys are told apart without colour; another word is an error."""
    shapes = {str(cell_mark(verdict)) for verdict in ("fits", "harmless but wrong", "destroys")}
    assert len(shapes) == 3
    with pytest.raises(KeyError, match="maybe"):
        cell_mark("maybe")


@pytest.mark.parametrize(
    ("distance", "said"),
    [(0.0, "0.0 U"), (9.999, "9.9 U"), (10.0, "10.0 U"), (ID.distance, "42.9 U"), (1e9, "1000000000 U")],
)
def test_a_distance_is_never_rounded_up(distance, said):
    """What is below the bound never looks as if it were on it."""
    assert distance_words(distance) == said


def test_the_page_is_written_whole_with_its_folder(tmp_path: Path):
    """The folder is made; where the disk refuses, that is a RecordError that names the page."""
    path = tmp_path / "reports" / "cables.html"
    write_cables_page(path, PAGES["demo"])
    assert path.read_text() == PAGES["demo"]
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordError, match=r"cables\.html cannot be written"):
        write_cables_page(tmp_path / "file" / "cables.html", "")


@pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's package chromium")
def test_the_page_prints_on_a4(tmp_path: Path):
    """Paper size is A4, and three cables fit eight sheets."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", printed(tmp_path, PAGES["demo"]))
    assert {(round(float(width)), round(float(height))) for width, height in boxes} == {A4}
    assert len(boxes) <= 8
