"""The page of a batch: every board, the yield with its interval, first causes, the rails side by side."""

from __future__ import annotations

import pytest

from batchtest.errors import RecordError
from batchtest.nouns import Outcome
from batchtest.pages import batch_page, write_attempt_page, write_batch_page
from batchtest.pages.render import css_string
from batchtest.records.batch import FIRST_PASS_YIELD
from batchtest.records.chain import head_file
from test_pages.examples import journalled, lines, record, summary
from test_pages.html import Page

CAUSE = "logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V"
PASS = [record(Outcome.PASS, serial=f"VN-{n:04}", lines=lines()) for n in range(1, 6)]
FAIL = record(Outcome.FAIL, CAUSE, serial="VN-0006", lines=lines(5.251))
RETEST = record(Outcome.PASS, serial="VN-0006", attempt=2, lines=lines())
STOP = record(Outcome.STOPPED, "meter: no reply", serial="VN-0007", lines=lines()[:30])
BATCH = [*PASS, FAIL, RETEST, STOP]


def _page(records, **changes):
    return Page(batch_page(summary(records, **changes), records))


def test_boards_are_counted_by_their_last_outcome():
    """A retest that passed counts as a pass here, not in the yield."""
    text = _page(BATCH).text
    assert "6 pass 0 fail 0 doubtful 1 stopped 0 refused" in text
    assert "5 of 6 boards" in text


def test_the_yield_stands_with_its_interval_and_definition():
    """Never a bare number."""
    text = _page(BATCH).text
    assert "83 % 5 of 6 boards 95 % interval 36 to 100 %" in text
    assert FIRST_PASS_YIELD in text


@pytest.mark.parametrize(
    ("boards", "said"),
    [
        pytest.param(5, "Cannot tell. With n = 5", id="few"),
        pytest.param(0, "Cannot tell. No board has been worked through", id="none"),
        pytest.param(60, "", id="enough"),
    ],
)
def test_few_boards_cannot_tell(boards, said):
    """A wide interval says so in words."""
    text = _page([record(Outcome.PASS, serial=f"VN-{n:04}") for n in range(boards)]).text
    assert ("Cannot tell" in text) is bool(said)
    assert said in text


def test_first_causes_are_counted_by_board():
    """Follow-on failures of the same board count once, and few are said to be few."""
    text = _page(BATCH).text
    assert "logic @ load point 1 1 of 1" in text
    assert "n = 1: too few for their order to mean anything" in text
    assert "Nothing failed." in _page(PASS).text


def test_every_attempt_links_to_its_page():
    """By file name, since the pages stand side by side."""
    links = [attributes["href"] for _, attributes in _page(BATCH).all("a")]
    assert links[:5] == [f"VN-{n:04}.1.html" for n in range(1, 6)]
    assert links[5:7] == ["VN-0006.1.html", "VN-0006.2.html"]


def test_station_stops_stand_apart():
    """They count for no board."""
    text = _page(BATCH).text
    assert "Station stops" in text
    assert "VN-0007: meter: no reply" in text
    assert "Station stops" not in _page(PASS).text


def test_a_board_that_passed_after_a_stop_shows_no_cause():
    """The bench's fault is not held against it."""
    again = record(Outcome.PASS, serial="VN-0007", attempt=2, lines=lines())
    text = _page([STOP, again]).text
    assert "VN-0007 pass 1 stopped 14.2 s, 2 pass 14.2 s" in text


def test_open_and_damaged_records_are_listed():
    """What is not known of a batch is said."""
    text = _page(PASS, open=("VN-0009.1",), damaged={"VN-0008.1.csv": "line 3: the record is damaged"}).text
    assert "1 still open" in text
    assert "Begun and not closed: VN-0009.1" in text
    assert "VN-0008.1.csv line 3: the record is damaged" in text


def test_rails_show_first_worked_through_attempts():
    """The retest does not hide what the first attempt read."""
    text = _page(BATCH).text
    assert "n = 6: 4.97900 to 5.20900 V" in text
    assert "not passed: VN-0006 5.20900 V" in text


@pytest.mark.parametrize("simulated", [True, False], ids=["simulated", "real"])
def test_a_simulated_batch_is_marked(simulated):
    """One simulated record is enough."""
    known = [record(Outcome.PASS, simulated=simulated)]
    assert ("SIMULATED BENCH" in _page(known).text) is simulated


def test_a_batch_names_its_time():
    """From the first attempt to the last."""
    later = record(Outcome.PASS, serial="VN-2", started=PASS[0].context.started.replace(hour=11))
    assert "2026-03-14 09:12 +00:00 to 2026-03-14 11:12 +00:00" in _page([PASS[0], later]).text
    assert "nothing closed yet" in _page([]).text


def test_the_page_of_a_folder_finds_the_pages_beside_it(tmp_path):
    """Every link leads to a file."""
    for serial in ("VN-0001", "VN-0002"):
        write_attempt_page(journalled(tmp_path, serial))
    written = write_batch_page(tmp_path / "b1")
    page = Page(written.read_text(encoding="utf-8"))
    links = [attributes["href"] for _, attributes in page.all("a")]
    assert written.name == "batch.html"
    assert links == ["VN-0001.1.html", "VN-0002.1.html"]
    assert all((written.parent / link).exists() for link in links)


def test_a_record_whose_lines_are_damaged_is_listed_and_the_page_is_written(tmp_path):
    """One bad file does not cost the batch its page."""
    journalled(tmp_path, "VN-0001")
    bad = journalled(tmp_path, "VN-0002")
    bad.write_text("not a record\r\n")
    text = Page(write_batch_page(tmp_path / "b1").read_text(encoding="utf-8")).text
    assert "Damaged records VN-0002.1.csv" in text
    assert "VN-0001" in text


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    """The message names it."""
    with pytest.raises(RecordError, match="nowhere cannot be read"):
        write_batch_page(tmp_path / "nowhere")


def test_the_heads_of_the_chains_stand_on_the_page():
    """Of each station that tested here, in short and whole, and at the foot of every printed sheet."""
    records = [record(Outcome.PASS, lines=lines())]
    text = batch_page(summary(records), records, heads={"bench-1": "3f2a91c077de" + 52 * "0"})
    assert "bench-1: 3f2a 91c0 77de 3f2a91c077de0000" in Page(text).text
    assert css_string(", chain of bench-1 3f2a 91c0 77de")[1:-1].strip() in text
    assert "Head of the chain" not in batch_page(summary(records), records)


def test_a_damaged_head_is_listed_as_damage(tmp_path):
    """The page is written all the same."""
    path = journalled(tmp_path, "VN-0001")
    head_file(tmp_path, "bench-1").write_text("{")
    page = write_batch_page(path.parent).read_text()
    assert "chain of bench-1" in page
    assert "is damaged; restore it from a copy" in page
