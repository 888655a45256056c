"""The review page in a real browser: no violation of the rules of accessibility, no network, A4, wide and narrow."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from axe_playwright_python.base import AXE_FILE_PATH
from playwright.sync_api import Browser, Page, sync_playwright

from batchtest.pages.review import review_page
from test_pages.review_examples import a_review
from test_pages.test_browser import A4, CHROMIUM, QUIET

pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="needs Debian's package chromium")

#: Width and height of a window, and what it stands for.
WINDOWS = {"desk": (1280, 900), "phone": (390, 844)}


@pytest.fixture(scope="module")
def browser() -> Iterator[Browser]:
    """One browser for all tests here."""
    with sync_playwright() as player:
        started = player.chromium.launch(executable_path=CHROMIUM, args=QUIET)
        yield started
        started.close()


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A page with every kind of section: banners, many batches, charts, tables, what was left out."""
    path = tmp_path_factory.mktemp("review") / "review.html"
    path.write_text(review_page(a_review(batches=30, rails=2, simulated=True, waived=2, where=("board is vent",))))
    return path


@pytest.fixture
def shown(browser: Browser, written: Path, request: pytest.FixtureRequest) -> Iterator[Page]:
    """The page in a window; what it asks of any network fails the test that uses it."""
    width, height = WINDOWS[getattr(request, "param", "desk")]
    page = browser.new_page(viewport={"width": width, "height": height})
    asked: list[str] = []
    page.on("request", lambda request: asked.append(request.url))
    page.goto(written.as_uri())
    yield page
    page.close()
    assert asked == [written.as_uri()]


def violations(page: Page) -> list[dict[str, Any]]:
    """Every rule of accessibility that a page breaks, with the elements that break it."""
    page.add_script_tag(path=AXE_FILE_PATH)
    found: list[dict[str, Any]] = page.evaluate("axe.run(document).then(found => found.violations)")
    return [{"rule": rule["id"], "where": [node["html"][:200] for node in rule["nodes"]]} for rule in found]


@pytest.mark.parametrize("shown", [pytest.param(name, id=name) for name in WINDOWS], indirect=True)
def test_no_rule_of_accessibility_is_broken(shown: Page):
    """axe-core finds nothing, with every table of numbers unfolded too."""
    assert violations(shown) == []
    shown.evaluate("document.querySelectorAll('details').forEach(one => one.open = true)")
    assert violations(shown) == []


def test_the_rules_would_find_a_chart_without_a_name(shown: Page):
    """A chart that lost its name is found: the check can fail."""
    shown.evaluate("document.querySelector('svg.chart').removeAttribute('aria-labelledby')")
    shown.evaluate("document.querySelector('svg.chart title').remove()")
    assert [found["rule"] for found in violations(shown)] == ["svg-img-alt"]


@pytest.mark.parametrize("shown", ["phone"], indirect=True)
def test_nothing_runs_off_a_phone(shown: Page):
    """Wide tables scroll in themselves; the page does not."""
    assert shown.evaluate("document.documentElement.scrollWidth") <= WINDOWS["phone"][0]


def test_no_label_of_a_chart_is_cut_off(shown: Page):
    """Every text of a chart lies inside the window, whatever fonts are there."""
    places = shown.evaluate("[...document.querySelectorAll('svg.chart text')].map(t => t.getBoundingClientRect().left)")
    assert places
    assert min(places) >= 0


def test_it_prints_on_a4(shown: Page):
    """Sheets are A4, and a review of thirty batches takes a handful of them."""
    boxes = re.findall(rb"/MediaBox\s*\[\s*0 0 ([\d.]+) ([\d.]+)\s*\]", shown.pdf(prefer_css_page_size=True))
    assert {(round(float(width)), round(float(height))) for width, height in boxes} == {A4}
    assert 1 <= len(boxes) <= 8
