"""A waiver on the pages: on top, in the rows, on every sheet of paper, and on the page of the batch."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest
from test_records.waivers import a_waiver

from batchtest.nouns import Judgement, Measurand, Outcome, Phase, Verdict
from batchtest.pages import attempt_page, write_batch_page
from batchtest.pages.batch import batch_page
from batchtest.pages.waivers import expired_line, waiver_line
from batchtest.records.waiver import write_waiver
from test_pages.examples import journalled, line, lines, record, summary
from test_pages.html import Page

WAIVER = a_waiver(number=1, sha256="87" * 32)
BROKEN = line(
    "id resistor of vent-lead", None, point="id", phase=Phase.GATE, unit="ohm", measurand=Measurand.RESISTANCE,
    lower=980.0, upper=1020.0, beyond=1e4,
)  # fmt: skip
BROKEN = replace(BROKEN, judgement=Judgement(verdict=Verdict.FAIL, why="over range, above 10.000 kohm"))


def broken_off(*, verdict: Verdict = Verdict.FAIL):
    """The lines of a board that is good, on a lead whose id resistor broke off."""
    judgement = replace(BROKEN.judgement, verdict=verdict)
    lost = replace(BROKEN, judgement=judgement)
    return tuple(lost if known.measurement.name == BROKEN.measurement.name else known for known in lines())


def page_of(outcome: Outcome = Outcome.PASS, cause: str | None = None, **changes: object) -> str:
    """An attempt under a waiver."""
    known = {"lines": broken_off(), "waivers": (WAIVER,), **changes}
    return attempt_page(record(outcome, cause, **known))


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
def test_a_waiver_stands_above_the_verdict(outcome):
    """Both names, reason, expiry and reading come before anything else, whatever the outcome."""
    text = Page(page_of(outcome, "a cause")).text
    banner, verdict = text.index("WAIVED"), text.index(outcome.upper())
    for said in (
        "id resistor of vent-lead", "K. Ahn and M. Osei", "the resistor in the hood broke off; continuity checked",
        "2026-03-14 08:00 +00:00", "its own record is waiver.1.json",
    ):  # fmt: skip
        assert banner < text.index(said) < verdict


def test_without_a_waiver_the_word_is_nowhere():
    """No empty banner."""
    page = attempt_page(record(Outcome.PASS, lines=lines()))
    assert "WAIVE" not in page.upper().partition("</STYLE>")[2]


def test_every_sheet_of_paper_says_so_at_its_foot():
    """A sheet that is torn off still tells."""
    assert r"\000028 WAIVER\000029" in page_of()
    assert r"\000028 WAIVER\000029" not in page_of(waivers=())


def test_the_page_rests_on_the_waivers_own_record():
    """Its hash stands with those of the files."""
    assert f"waiver.1.json {'87' * 32}" in Page(page_of()).text


def test_the_banner_says_whether_it_was_needed():
    """A reading that passed needed no excuse."""
    assert "Excused here: id resistor of vent-lead." in page_of()
    assert "In force; no reading of this attempt needed it." in page_of(lines=lines())


@pytest.mark.parametrize(
    ("verdict", "word"),
    [(Verdict.FAIL, "fails, waived"), (Verdict.UNREAD, "unread, waived"), (Verdict.DOUBTFUL, "doubtful, waived")],
)
def test_the_excused_row_keeps_its_verdict(verdict, word):
    """It fails, and is waived; why it fails and which waiver stand below."""
    page = page_of(lines=broken_off(verdict=verdict))
    row = re.search(r'<tr class="mind">\s*<th scope="row">id resistor of vent-lead.*?</tr>.*?</tr>', page, re.DOTALL)
    assert f"{word} over range, above 10.000 kohm; does not count, by waiver 1" in Page(row[0]).text


def test_a_row_that_no_waiver_names_is_not_waived():
    """A waiver excuses what it names and nothing else."""
    page = page_of(Outcome.FAIL, "logic @ load point 1: high", lines=lines(5.251))
    assert "fail above the upper limit" in Page(page).text
    assert "fails, waived" not in page


@pytest.mark.parametrize(
    ("outcome", "said"),
    [
        pytest.param(Outcome.PASS, "But for one waived reading: every reading lies inside its limits", id="pass"),
        pytest.param(Outcome.DOUBTFUL, "But for one waived reading: no reading lies outside", id="doubtful"),
        pytest.param(Outcome.FAIL, "At least one reading lies outside its limits", id="fail"),
        pytest.param(Outcome.REFUSED, "Cable or fixture were not proven safe", id="refused"),
    ],
)
def test_the_outcome_is_told_without_what_was_waived(outcome, said):
    """The page does not claim that every reading passed where one did not."""
    assert said in Page(page_of(outcome, "a cause")).text


def test_two_waived_readings_are_counted():
    """In the sentence and beside the counts."""
    both = (*broken_off(), replace(BROKEN, number=99))
    text = Page(page_of(lines=both)).text
    assert "But for 2 waived readings:" in text
    assert "2 of them waived" in text


def test_the_waived_reading_does_not_decide_an_outcome():
    """The reading that is drawn as deciding is one that counts."""
    later = line("core @ load point 1", 3.1, upper=3.0, point="core")
    text = Page(page_of(Outcome.FAIL, "several", lines=(*broken_off(verdict=Verdict.FAIL), later))).text
    assert "What decided it several read 3.10000 V" in text


def test_names_and_reason_are_only_text():
    """Markup in them is shown, not obeyed."""
    hostile = a_waiver(number=1, people=("<b>K</b>", "M"), reason="<script>a b c</script>", readings=("</h2>x",))
    page = Page(page_of(waivers=(hostile,)))
    assert page.faults == []
    assert not page.all("script")
    assert "<script>a b c</script>" in page.text


def test_the_batch_page_shows_each_waiver_once_with_its_attempts():
    """Over the whole batch, and at the attempts that were made under it; those before and after are not marked."""
    records = [record(Outcome.PASS), record(Outcome.PASS, serial="VN-0002", waivers=(WAIVER,))]
    page = batch_page(summary(records), records, (WAIVER,))
    text = Page(page).text
    assert text.count("K. Ahn and M. Osei answer for it") == 1
    assert "Tested under it: VN-0002.1." in text
    assert page.count("1 pass, under a waiver</a>") == 1
    assert page.count("1 pass</a>") == 1
    assert r"\000028 WAIVER\000029" in page


def test_a_waiver_under_which_nothing_was_tested_is_shown_too():
    """It is a record of the batch."""
    assert "No attempt was made under it." in batch_page(summary([]), [], (WAIVER,))


def test_a_waiver_that_was_taken_out_of_the_folder_is_still_on_the_page():
    """The records that were made under it carry it, and the page says that it is gone."""
    known = record(Outcome.PASS, waivers=(WAIVER,))
    assert "VN-0001.1. ITS OWN RECORD IS GONE." in batch_page(summary([known]), [known], ())


def test_the_page_of_a_batch_reads_the_waivers_in_its_folder(tmp_path):
    """From the disk to the page; a damaged one is named, and the page is made all the same."""
    journalled(tmp_path, "VN-0001")
    write_waiver(tmp_path, a_waiver(batch="b1"))
    page = write_batch_page(tmp_path / "b1")
    assert "continuity checked by hand" in page.read_text()
    waiver = tmp_path / "b1" / "waiver.1.json"
    waiver.write_text(waiver.read_text().replace("M. Osei", "Q. Osei"))
    text = Page(write_batch_page(tmp_path / "b1").read_text()).text
    assert "waiver.1.json is not what was written there" in text


def test_a_waiver_is_said_on_one_line():
    """For a screen that has lines only; the challenge is named as what it is."""
    waiver = a_waiver(number=3, readings=("challenge", "contact TP4 (202)"))
    assert waiver_line(waiver) == (
        "WAIVED: age of the challenge, contact TP4 (202), until 2026-03-14 08:00 +00:00, by K. Ahn and M. Osei: "
        "the resistor in the hood broke off; continuity checked by hand (waiver 3)"
    )
    assert expired_line(waiver).startswith("waiver 3 expired on 2026-03-14 08:00 +00:00; it excuses nothing")
