"""What holds for every page: valid HTML that needs nothing else, readable by everyone, deaf to hostile names."""

from __future__ import annotations

import re
from itertools import pairwise
from pathlib import Path

import pytest

import batchtest.pages
from batchtest.nouns import Outcome
from batchtest.pages import attempt_page, batch_page
from batchtest.pages.found import found_page
from batchtest.pages.render import css_string, moment
from batchtest.records.search import Found, Touched, Wanted
from test_pages.examples import STARTED, line, lines, record, summary
from test_pages.html import Page

HOSTILE = "</style><script>alert('1')</script>\"&"
CAUSE = "logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V"
RECORDS = {
    "pass": record(Outcome.PASS, lines=lines()),
    "fail": record(Outcome.FAIL, CAUSE, lines=lines(5.251)),
    "doubtful": record(Outcome.DOUBTFUL, "logic @ load point 1: close", lines=lines(5.1997)),
    "stopped": record(Outcome.STOPPED, "meter: no reply to 'READ?'", lines=lines()[:40], simulated=False),
    "refused": record(Outcome.REFUSED, "this is not vent-lead", lines=lines()[:20]),
    "empty": record(Outcome.STOPPED),
}
PAGES = {name: attempt_page(known) for name, known in RECORDS.items()} | {
    "batch": batch_page(summary(list(RECORDS.values())), list(RECORDS.values())),
    "empty-batch": batch_page(summary([]), []),
    "found": found_page(
        Found(
            attempts=tuple(Touched(record=one.path, closing=one.closing, intact=True) for one in RECORDS.values()),
            searched=20,
            open=("spring/VN-0001.2",),
            damaged={},
        ),
        Wanted(values={"cable": "vent-lead"}, since=STARTED),
        STARTED,
    ),
}


@pytest.fixture(params=PAGES, ids=str)
def text(request):
    """Every kind of page."""
    return PAGES[request.param]


def test_every_element_is_closed_in_its_place(text):
    """A page does not lean on a browser's mending."""
    assert Page(text).faults == []


def test_a_page_names_its_language_and_itself(text):
    """A reader's software knows what it reads."""
    page = Page(text)
    assert page.all("html") == [("html", {"lang": "en"})]
    assert len(Page(text.partition("</head>")[0]).all("title")) == 1
    assert text.startswith("<!doctype html>")


def test_headings_never_skip_a_level(text):
    """One main heading, and each below the one before by one level at most."""
    levels = [int(name[1]) for name, _ in Page(text).all("h1", "h2", "h3", "h4")]
    assert levels[0] == 1
    assert levels.count(1) == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_every_header_cell_says_what_it_heads(text):
    """Tables can be read aloud."""
    assert all("scope" in attributes for _, attributes in Page(text).all("th"))


def test_every_drawing_is_described_or_silent(text):
    """A drawing has a label, or stands beside its word and is skipped."""
    for _, attributes in Page(text).all("svg"):
        assert attributes.get("aria-hidden") == "true" or attributes.get("aria-label")


def test_names_within_a_page_are_unique_and_found(text):
    """Every label and every shape that is referred to is there, once."""
    page = Page(text)
    known = [attributes["id"] for _, attributes in page.elements if "id" in attributes]
    wanted = {attributes["aria-labelledby"] for _, attributes in page.elements if "aria-labelledby" in attributes}
    wanted |= {attributes["href"][1:] for _, attributes in page.all("use")}
    assert len(known) == len(set(known))
    assert wanted <= set(known)


def test_a_page_needs_nothing_but_itself(text):
    """No network, no script, no other file: it opens in twenty years."""
    page = Page(text)
    assert page.all("script", "link", "img", "iframe", "object") == []
    assert not any(name in attributes for _, attributes in page.elements for name in ("src", "srcset", "onclick"))
    assert not re.search(r"https?:|@import|url\((?!#)", text)


@pytest.mark.parametrize("name", ["serial", "batch", "board", "operator", "fixture", "cable", "software", "station"])
def test_a_hostile_name_is_shown_and_does_nothing(name):
    """Whatever a name holds, it is text: in the page, in its title, and at the foot of every sheet."""
    page = Page(attempt_page(record(Outcome.FAIL, HOSTILE, lines=(line(HOSTILE, 9.0, upper=5.0),), **{name: HOSTILE})))
    assert page.faults == []
    assert page.all("script") == []
    assert HOSTILE in page.text


def test_a_hostile_name_does_nothing_on_a_batch_page():
    """Serials, causes, file names and links are text too."""
    known = record(Outcome.FAIL, HOSTILE, serial=HOSTILE, batch=HOSTILE, lines=lines(9.0))
    page = Page(batch_page(summary([known], batch=HOSTILE, open=(HOSTILE,), damaged={HOSTILE: HOSTILE}), [known]))
    assert page.faults == []
    assert page.all("script") == []
    assert page.text.count(HOSTILE) >= 4


@pytest.mark.parametrize(
    "text",
    ["", 'a"b', "</style>", "a\\b", "line\nline", "Gewächshaus"],
    ids=["empty", "quote", "tag", "slash", "lines", "umlaut"],
)
def test_a_css_string_gives_its_text_back(text):
    """Read by the rules of CSS, the string is the text again, and holds no character that could end it."""
    inner = css_string(text)[1:-1]
    assert not set(inner) & set("\"'<>\n")
    assert re.sub(r"\\([0-9a-f]{6}) ", lambda match: chr(int(match[1], 16)), inner) == text


def test_a_time_without_offset_is_shown_as_it_is():
    """No offset is made up."""
    assert moment(STARTED.replace(tzinfo=None)) == "2026-03-14 09:12"


def _luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.2."""
    parts = [int(colour[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts]
    return sum(weight * part for weight, part in zip((0.2126, 0.7152, 0.0722), linear, strict=True))


@pytest.mark.parametrize(
    ("ink", "paper"),
    [
        pytest.param("--ink", "#ffffff", id="text"),
        pytest.param("--quiet", "#ffffff", id="notes"),
        pytest.param("--quiet", "#fff3e2", id="notes-on-marked-row"),
        pytest.param("--pass", "#ffffff", id="pass"),
        pytest.param("--ink", "--fail", id="fail"),
        pytest.param("--ink", "#dde2e6", id="stopped"),
        pytest.param("--danger", "#ffffff", id="danger"),
    ],
)
def test_contrast_is_enough_to_read(ink, paper):
    """At least 4.5 to 1 (WCAG 2.2, success criterion 1.4.3)."""
    style = (Path(batchtest.pages.__file__).parent / "templates" / "style.css").read_text()
    known = dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]{6})", style))
    dark, light = sorted(_luminance(known.get(name, name)) for name in (ink, paper))
    assert (light + 0.05) / (dark + 0.05) >= 4.5


def test_pass_and_fail_differ_in_grey():
    """Printed without colour, the two grounds are far apart (ratio above 3)."""
    style = (Path(batchtest.pages.__file__).parent / "templates" / "style.css").read_text()
    known = dict(re.findall(r"(--[a-z-]+): (#[0-9a-f]{6})", style))
    assert (_luminance(known["--fail"]) + 0.05) / (_luminance(known["--pass"]) + 0.05) > 3
