"""The certificate: an archivable PDF that says all of a record, is right in grey, and always the same."""

from __future__ import annotations

import re
import sys
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pypdfium2
import pytest
import zxingcpp
from test_records.waivers import a_waiver

from batchtest.errors import SetupError
from batchtest.nouns import Judgement, Outcome, Verdict
from batchtest.pages import typeset, words
from batchtest.pages.certificate import values
from batchtest.quantities import show
from test_pages.certificates import SHEET, pixels, printed, reader, texts
from test_pages.examples import STARTED, gate, line, lines, record

A4 = (595, 842)
#: Text stays inside these margins, in points.
MARGIN = 48.0


@pytest.fixture(scope="module")
def passed() -> bytes:
    """The certificate of a board that passed, on a real bench."""
    return printed(record(Outcome.PASS, lines=lines(), simulated=False, operator="K. Ahn"))


@pytest.fixture(scope="module")
def failed() -> bytes:
    """The certificate of a board that failed under a waiver, on a simulated bench, with all that does not fit."""
    excused = replace(line("id resistor of vent-lead", 2195.0), judgement=Judgement(verdict=Verdict.FAIL, why="other"))
    known = [*gate(), replace(excused, measurement=replace(excused.measurement, phase=next(gate()).measurement.phase))]
    long = line("x" * 120 + " @ load point 9", None, lower=1.0, upper=2.0)
    waiver = a_waiver(number=1, written=STARTED, expires=STARTED + timedelta(days=3))
    return printed(
        record(
            Outcome.FAIL,
            "logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V. It was switched off.",
            lines=(*known, *lines(5.251), *lines(5.1999), long),
            waivers=(waiver,),
            serial="VN-" + "0" * 61,
            fixture="f" * 64,
        ),
        workshop="W" * 90,
        notes=("2026-03-20 rework by M. Roy: R5 changed",),
    )


def test_it_is_an_archivable_pdf(passed):
    """PDF/A, ISO 19005-2: it says so in its metadata, is tagged, has an output intent, its language, no encryption."""
    found = reader(passed)
    root = found.trailer["/Root"]
    told = root["/Metadata"].get_data().decode()
    assert re.findall(r"<pdfaid:(part|conformance)>(\w+)<", told) == [("part", "2"), ("conformance", "A")]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/OutputIntents"][0]["/S"] == "/GTS_PDFA1"
    assert (root["/Lang"], found.is_encrypted) == ("en-GB", False)
    assert {(round(float(page.mediabox.width)), round(float(page.mediabox.height))) for page in found.pages} == {A4}


def test_every_font_is_in_it(failed):
    """What is read in twenty years needs no font of that day's computer, and its text can be copied."""
    fonts = [font.get_object() for page in reader(failed).pages for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        (inner,) = font.get("/DescendantFonts", [font])
        assert {"/FontFile2", "/FontFile3"} & inner.get_object()["/FontDescriptor"].get_object().keys()
        assert "/ToUnicode" in font


def test_the_code_on_it_is_the_record_s_hash(passed):
    """Whoever points a telephone at a print gets what the description of the record must say."""
    assert [found.text for found in zxingcpp.read_barcodes(pixels(passed))] == ["3c" * 32]


@pytest.mark.parametrize(
    "said",
    [
        pytest.param("Test results", id="what-it-is"),
        pytest.param("Glasshouse Controls, 12 Vine Lane", id="workshop"),
        pytest.param("VN-0001 vent 1", id="serial-board-attempt"),
        pytest.param("batch 2026-11-A revision B", id="batch"),
        pytest.param("tested 2026-03-14 09:12 +00:00", id="date"),
        pytest.param("operator K. Ahn", id="operator"),
        pytest.param("fixture vent-nest", id="fixture"),
        pytest.param("cable vent-lead", id="cable"),
        pytest.param("proof before power, by 1 reading, marked †", id="proof"),
        pytest.param("id resistor of vent-lead † 1.00040 kohm", id="proof-reading"),
        pytest.param("software batchtest 0.1.0", id="software"),
        pytest.param("printed 2026-04-01 10:30 +00:00, print 3", id="print"),
        pytest.param("load point 2: 20.0 mA 5.00000 V 0.00060 V 4.8 to 5.2 V pass", id="reading"),
        pytest.param(words.rule_text("guarded"), id="rule"),
        pytest.param("no accredited calibration is claimed", id="no-accreditation"),
        pytest.param("core the circuit and its part tolerances", id="source-of-limits"),
        pytest.param("simulated meter SM-1 1.0 2025-11-03, 131 days before the test, due 2026-11-03", id="instrument"),
        pytest.param(f"this record {'3c' * 32}", id="hash"),
        pytest.param(f"head of the chain {'ab' * 32}", id="head"),
        pytest.param(f"limits/vent.toml {'5f' * 32}", id="limits"),
    ],
)
def test_it_says_what_is_asked_of_it_later(passed, said):
    """A customer, an auditor and a repairer find what they look for in the text itself."""
    assert said in " ".join(texts(passed))


def test_it_claims_no_more_than_test_results(passed):
    """The one word of accreditation is that there is none; it calls itself nothing but test results."""
    text = " ".join(texts(passed)).lower()
    assert re.findall(r"\w+ accredit\w+", text) == ["no accredited"]
    assert not re.findall("certif|guarantee|warrant", text)


def test_a_simulated_bench_is_said_on_every_page(passed, failed):
    """No sheet of it can be taken for one of a real board; one of a real board does not speak of it."""
    assert all(page.startswith("SIMULATED BENCH: no real board was measured") for page in texts(failed))
    assert "SIMULATED" not in "".join(texts(passed))


def test_every_page_says_whose_it_is(passed):
    """A sheet that was parted from the others still names board, attempt, print, record and place among them."""
    pages = texts(passed)
    assert len(pages) > 1
    for number, page in enumerate(pages, start=1):
        assert "Test results: VN-0001, attempt 1, print 3" in page
        assert f"SHA-256 {'3c' * 32} page {number} of {len(pages)}" in page


def test_a_board_that_failed_gets_its_sheet(failed):
    """What decided it, the readings outside, the waiver with its people, notes since: nothing is left off."""
    text = " ".join(texts(failed)).replace("\u200b", "")
    for said in (
        "FAIL At least one reading lies outside its limits.",
        "What decided it logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V It was switched off",
        "load point 1: 0.00 A above the upper limit 5.25100 V 0.00060 V 4.8 to 5.2 V FAIL",
        "load point 1: 0.00 A inside the limits by less than U 5.19990 V 0.00060 V 4.8 to 5.2 V doubtful",
        "load point 9 no reading came no reading 1 to 2 V unread",
        "Tested under waiver 1: id resistor of vent-lead K. Ahn and M. Osei answer for it",
        "FAIL waived",
        "Notes on this board 2026-03-20 rework by M. Roy: R5 changed",
    ):
        assert said in text


@pytest.mark.parametrize("outcome", Outcome)
def test_every_outcome_has_its_sheet(outcome):
    """Also of an attempt that never came to a reading, and of a rule that is not known."""
    text = " ".join(texts(printed(record(outcome, rule="other", limits_sources={}))))
    assert f"{outcome.value.upper()} {words.MEANINGS[outcome]}" in text
    assert "No reading was taken." in text


def test_a_board_never_powered_claims_no_proof():
    """Readings of a gate that ended there proved nothing safe."""
    text = " ".join(texts(printed(record(Outcome.FAIL, "logic-short: 1 ohm", lines=tuple(gate())))))
    assert "proof none: not powered" in text
    assert "†" not in text


def test_it_is_right_without_colour(failed):
    """Grey alone, so that a copy or a print without colour loses nothing: every pixel has its three colours equal."""
    for page in range(len(texts(failed))):
        shown = pixels(failed, page).astype(int)
        assert np.ptp(shown, axis=2).max() == 0


def test_nothing_runs_off_the_paper(failed):
    """Names that are too long break; no letter lies outside the margins of any page."""
    with pypdfium2.PdfDocument(failed) as document:
        for page in document:
            text = page.get_textpage()
            boxes = np.array([text.get_charbox(index) for index in range(text.count_chars())])
            assert boxes[:, 0].min() > MARGIN
            assert boxes[:, 2].max() < A4[0] - MARGIN
            assert boxes[:, 1].min() > 20


def test_a_table_goes_on_over_the_page_with_its_head(failed):
    """Where a table breaks, its columns are named again, and a reading has its value and verdict on one page."""
    pages = texts(failed)
    assert len(pages) >= 3
    started = re.compile(r"print 3 (.{0,60})")
    heads = [found[1] for page in pages[1:] if (found := started.search(page))]
    assert all(re.match(r".*U \(k = 2\)|[A-Z]", head) for head in heads)
    for reading in lines(5.1999):
        if reading.measurement.load_A is not None and reading.measurement.point == "core":
            name = f"load point {reading.measurement.load_point + 1}: {show(reading.measurement.load_A, 'A', 3)}"
            assert any(re.search(rf"{re.escape(name)} \S+ V \S+ V \S+ to \S+ V pass", page) for page in pages)


def test_the_same_print_is_the_same_file(passed):
    """No clock, no random id: bytes follow from record, head and print alone, also with the fonts read anew."""
    typeset._fonts.cache_clear()
    again = record(Outcome.PASS, lines=lines(), simulated=False, operator="K. Ahn")
    assert printed(again) == passed
    assert printed(again, number=4) != passed


def test_the_time_in_it_is_the_print_s_own(passed):
    """The PDF's dates say when it was printed, whatever the clock says when it is looked at."""
    assert reader(passed).metadata.creation_date == datetime(2026, 4, 1, 10, 30, tzinfo=UTC)


@pytest.mark.parametrize(
    ("name", "said"),
    [
        pytest.param("K. \U00012000hn", "K. [U+12000]hn", id="no-font-has-it"),
        pytest.param("a\U00012000 \U000103a0b", "a[U+12000] [U+103A0]b", id="two-of-them"),
        pytest.param("a\ue000\ue001b", "a[U+E000][U+E001]b", id="private-use"),
        pytest.param("K.\x1b[2J\x00A\thn", "K.[U+001B][2J[U+0000]A hn", id="control-characters"),
        pytest.param('#link("x")[y] $1$ `z` \\ <a>', '#link("x")[y] $1$ `z` \\ <a>', id="markup"),
        pytest.param("ÅÄÖ ñ ž Ω µ", "ÅÄÖ ñ ž Ω µ", id="accents"),
    ],
)
def test_no_letter_of_a_name_is_lost_or_obeyed(monkeypatch, name, said):
    """A letter that cannot be drawn is spelled by its code point; nothing is taken for the typesetter's own markup."""
    own = typeset._fonts(system=False)
    monkeypatch.setattr(typeset, "_fonts", lambda system: own)  # whatever else this computer has
    assert f"operator {said}" in " ".join(texts(printed(record(Outcome.PASS, operator=name))))


@pytest.mark.parametrize("package", ["typst", "segno"])
def test_without_the_extra_the_cure_is_said(monkeypatch, package):
    """Who did not install it is told the one line that does, and nothing else fails."""
    monkeypatch.setitem(sys.modules, package, None)
    with pytest.raises(SetupError, match=r"needs the extra pdf; install it: pip install 'batchtest\[pdf\]'"):
        printed(record(Outcome.PASS))


def test_a_host_is_called_one():
    """A host that was mapped is no board, and had no cable."""
    text = " ".join(texts(printed(record(Outcome.PASS, kind="host", board="cabinet", cable=""))))
    assert "serial host attempt" in text
    assert "none: nothing was mated" in text


def test_hashes_are_copied_whole():
    """No break is put into what is compared letter by letter."""
    told = values(record(Outcome.PASS, lines=lines()), SHEET)
    shown = typeset._strings(told, typeset._breakable)
    assert [each["sha256"] for each in shown["hashes"]] == [each["sha256"] for each in told["hashes"]]
    assert shown["qr"] == told["qr"]
