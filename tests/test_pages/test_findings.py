"""Findings on the pages of an attempt and of its batch: an opinion, told from the record, which stays as it was."""

from __future__ import annotations

from dataclasses import replace

from test_records.findings import FINDING, a_finding
from test_records.notes import a_note

from batchtest.nouns import Outcome
from batchtest.pages import attempt_page, batch_page, write_attempt_page, write_batch_page
from batchtest.pages.compare import page_faults
from batchtest.pages.findings import finding_line, finding_lines, probed_text
from batchtest.records.finding import Likely, Probed, write_finding
from batchtest.records.note import write_note
from test_pages.examples import journalled, lines, record, summary
from test_pages.html import Page

FAILED = record(Outcome.FAIL, "logic is low", lines=lines())
ABOUT = f"{FAILED.path.parent.name}/{FAILED.path.name}"
FOUND = a_finding(number=1, about=ABOUT)


def text_of(*findings):
    """What the page of the failed attempt says with these findings."""
    page = Page(attempt_page(FAILED, (), findings))
    assert page.faults == []
    return " ".join(page.text.split())


def test_the_page_says_what_probably_failed_and_what_to_measure():
    """Causes with their probabilities, the unknown among them, what says so, what weighed in and where it is kept."""
    text = text_of(FOUND)
    for said in (
        "What probably failed",
        "logic-reversed reads 309.96 ohm, not 284.0 ohm",
        "75 % R5B is open 12 % R5A is wrong 6 % something else, or more than one fault",
        "change R5B",
        "Measure next: TP7 to TP1, powered off: ohms",
        "TP7 4.900 V at load point 1",
        "Cures that weighed in: winter-4/note.2.json",
        "no part of the record, and no verdict. Its own record is finding.1.json.",
    ):
        assert said in text


def test_the_last_finding_about_this_record_is_shown():
    """An earlier one is named by its file, one about another attempt is not there at all."""
    later = replace(FOUND, number=2, causes=FOUND.causes[1:])
    text = text_of(FOUND, later, replace(FOUND, number=3, about="spring-1/VN-0007.1.csv"))
    assert "finding.2.json. Cures that weighed in: winter-4/note.2.json. Earlier ones: finding.1.json." in text
    assert "R5B is open" not in text


def test_without_findings_the_word_is_nowhere():
    """A page is as it was before there were any."""
    assert "probably failed" not in attempt_page(FAILED)
    assert attempt_page(FAILED) == attempt_page(FAILED, (), (replace(FOUND, about="spring-1/VN-0007.1.csv"),))


def test_what_nothing_explains_comes_first_as_such():
    """In a line and in the list."""
    found = a_finding(causes=(Likely(faults=("R5B open",), parts=("R5B",), probability=0.2, words="R5B is open"),),
                      unknown=0.799, next="", probed=())  # fmt: skip
    assert finding_line(found) == "something else, or more than one fault (80 %) or R5B is open (20 %)"
    said = finding_lines(found)
    assert [line.split("  ")[-1] for line in said[1:3]] == ["something else, or more than one fault", "R5B is open"]
    assert said[-1] == "change R5B"


def test_a_value_over_range_is_said_to_be_so():
    """It is no number."""
    assert probed_text(Probed(point="TP7", value=None, unit="ohm")) == "TP7 over range without power"


def test_a_line_names_nothing_that_is_hardly_possible():
    """There are always enough unlikely things."""
    sure = a_finding(causes=(replace(FINDING.causes[0], probability=0.997),), unknown=0.001)
    assert finding_line(sure) == "R5B is open (over 99 %)"


def test_a_page_is_right_with_the_findings_and_notes_of_its_day(tmp_path):
    """Any of the pages that were written on the way is no damage; one with a finding that is gone is."""
    path = journalled(tmp_path, "VN-0001", Outcome.FAIL, "logic is low")
    batch, page = path.parent.name, path.with_suffix(".html")
    about = f"{batch}/{path.name}"
    pages = [write_attempt_page(path).read_bytes()]
    for write in (
        lambda: write_finding(tmp_path, a_finding(batch=batch, about=about)),
        lambda: write_note(tmp_path, a_note(batch=batch, about=about)),
        lambda: write_finding(tmp_path, a_finding(batch=batch, about=about, advice="change R5A")),
    ):
        write()
        pages.append(write_attempt_page(path).read_bytes())
    assert len(set(pages)) == 4
    for content in pages:
        page.write_bytes(content)
        assert list(page_faults(page)) == []
    (path.parent / "finding.2.json").unlink()
    assert [fault.record for fault in page_faults(page)] == [f"{batch}/VN-0001.1.html"]


def test_a_damaged_finding_keeps_no_page_from_being_written(tmp_path):
    """The page of the batch names it as damaged; that of the attempt does without."""
    path = journalled(tmp_path, "VN-0001", Outcome.FAIL, "logic is low")
    (path.parent / "finding.1.json").write_text("{}")
    assert "probably failed" not in write_attempt_page(path).read_text()
    assert "finding.1.json is damaged" in Page(write_batch_page(path.parent).read_text()).text


def test_the_batch_page_has_the_finding_beside_the_cause():
    """Of the last attempt that tells of the board."""
    page = Page(batch_page(summary([FAILED]), [FAILED], findings=(FOUND,)))
    assert page.faults == []
    assert "Probably: R5B is open (75 %) or R5A is wrong (12 %)" in " ".join(page.text.split())


def test_a_finding_is_only_text():
    """Whatever a circuit file calls its parts."""
    causes = (Likely(faults=("x",), parts=("x",), probability=0.5, words="<b>x</b>"),)
    assert "&lt;b&gt;x&lt;/b&gt;" in attempt_page(FAILED, (), (replace(FOUND, causes=causes),))
