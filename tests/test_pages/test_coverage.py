"""The page that says what a board's test can see: counts, parts, and what nothing of it sees."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from test_diagnosis.opinions import COVERAGE, fault, sight

from batchtest.diagnosis.model import Column, FaultTable
from batchtest.nouns import Measurand
from batchtest.pages.coverage import coverage_page, write_coverage_page
from batchtest.records.seal import read_seal
from test_pages.html import Page

COLUMNS = tuple(
    Column(name=name, point=name, measurand=Measurand.RESISTANCE, unit="ohm", state="cold", reach=1e4, probe=probe)
    for name, probe in (("logic-short", False), ("TP7 cold", True))
)
TABLE = FaultTable(
    key="cd" * 32, board="vent", fixture="vent-nest", hypotheses=(fault("R5B", "open"),), columns=COLUMNS, spots={},
    states=(), mean=np.zeros((1, 2)), rough=np.zeros((1, 2)), spread=np.zeros((1, 2, 1), np.float32),
    over=np.zeros((1, 2)), limiting=np.zeros((1, 0)),
)  # fmt: skip


def text_of(coverage):
    """What the page says."""
    page = Page(coverage_page(TABLE, coverage))
    assert page.faults == []
    return " ".join(page.text.split())


def test_the_page_says_how_many_faults_fail_and_which_nothing_sees():
    """Probes that a person may take are no readings of the procedure."""
    text = text_of(COVERAGE)
    for said in (
        "What the test of vent can see",
        "6 single faults, 1 readings",
        "50 %",
        "3 of 6 single faults, those of the fixture included, fail the board",
        "1 more move readings that stay within their limits",
        "2 no reading of this procedure can see",
        "A board with one of these passes.",
        "R5B open, short",
        "RSWA open, 1 Mohm",
        "nothing was measured",
    ):
        assert said in text
    assert "logic-short 3" in text


def test_where_everything_is_seen_nothing_else_is_said():
    """No section about what nothing sees, and none about readings that catch nothing."""
    text = text_of(replace(COVERAGE, seen=(), invisible=(), within_limits=(sight(fault("R5B", "open"), 0.0),)))
    assert "What no reading sees" not in text
    assert "Which reading catches most" not in text


def test_the_page_is_written_whole_and_sealed(tmp_path):
    """Its name says board and fixture."""
    page = write_coverage_page(tmp_path / "reports", TABLE, COVERAGE)
    assert page.name == "coverage-vent.vent-nest.html"
    assert read_seal(page.read_bytes()).whole is True
