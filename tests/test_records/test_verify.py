"""Verifying a folder: whatever was changed, taken out, added or moved is found, and named with record and field."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from batchtest.errors import SetupError
from batchtest.nouns import Outcome
from batchtest.pages import write_attempt_page, write_batch_page
from batchtest.records.attempt_link import FRAMES
from batchtest.records.batch import write_batch_json
from batchtest.records.chain import canonical, head
from batchtest.records.journal import Journal
from batchtest.records.metadata import BLOCK, frame, laid_out
from batchtest.records.verify import verify
from batchtest.records.waiver import write_waiver
from test_records.contexts import CONTEXT, STARTED, a_line, closed
from test_records.waivers import a_waiver

ONE = "spring-1/VN-0001.1.csv"
TWO = "spring-1/VN-0002.1.csv"
THREE = "spring-2/VN-0003.1.csv"
FOUR = "spring-1/VN-0001.2.csv"


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two batches of one station and a record of another, with a waiver, pages and summaries."""
    reports = tmp_path_factory.mktemp("whole") / "reports"
    for serial, batch in (("VN-0001", "spring-1"), ("VN-0002", "spring-1"), ("VN-0003", "spring-2")):
        write_attempt_page(reports / closed(reports, serial, batch=batch).record)
    write_waiver(reports, a_waiver(written=STARTED + timedelta(seconds=90)))
    write_attempt_page(reports / closed(reports).record)
    closed(reports, "VN-0009", batch="spring-2", station="bench-2")
    for batch in ("spring-1", "spring-2"):
        write_batch_json(reports / batch)
        write_batch_page(reports / batch)
    return reports


@pytest.fixture
def reports(whole: Path, tmp_path: Path) -> Path:
    """A copy to be tampered with."""
    return Path(shutil.copytree(whole, tmp_path / "reports"))


def files_of(reports: Path, record: str) -> list[Path]:
    """The files of an attempt: lines, description, page."""
    path = reports / record
    found = [path, path.with_name(f"{path.name}-metadata.json"), path.with_suffix(".html")]
    return [file for file in found if file.exists()]


def said(reports: Path, *printed: str) -> list[str]:
    """The damage that is found, in words."""
    return [str(fault) for fault in verify(reports, printed).damage]


def test_a_whole_folder_is_whole(whole):
    """Records of every kind, two batches, two stations: no damage, and the heads are those of the chains."""
    found = verify(whole, [head(whole, "bench-1") or "", (head(whole, "bench-2") or "")[:12].upper()])
    assert found.damage == ()
    assert found.notes == ()
    assert (found.records, found.pages) == (6, 6)
    assert [(chain.station, chain.records, chain.head) for chain in found.chains] == [
        ("bench-1", 5, head(whole, "bench-1")),
        ("bench-2", 1, head(whole, "bench-2")),
    ]


def change(file: str, old: str, new: str) -> Callable[[Path], object]:
    """Put other text in the place of the first that matches."""

    def tamper(reports: Path) -> None:
        path = reports / file
        text = path.read_bytes().decode()
        assert re.search(old, text), old
        path.write_bytes(re.sub(old, new, text, count=1).encode())

    return tamper


def described(record: str) -> str:
    """The description of a record."""
    return f"{record}-metadata.json"


@pytest.mark.parametrize(
    ("tamper", "named"),
    [
        pytest.param(change(ONE, r"4\.98,V", "4.89,V"), f"{ONE}: line 2, column value: ", id="value"),
        pytest.param(change(ONE, ",pass,", ",fail,"), f"{ONE}: line 2, column verdict: ", id="verdict"),
        pytest.param(change(ONE, r"\r\n2,(.*)\r\n", "\r\n"), f"{ONE}: line 3: 3 lines were written, 2 ", id="line-out"),
        pytest.param(change(ONE, r"\r\n", "\n"), f"{ONE}: line ends or quotes: ", id="line-end"),
        pytest.param(change(ONE, "number,time", "nr,time"), f"{ONE}: line 1, column number: ", id="header"),
        pytest.param(change(described(ONE), "the one at", "no one at"), f"{ONE}: context.operator: ", id="operator"),
        pytest.param(change(described(ONE), '"pass"', '"fail"'), f"{ONE}: outcome: ", id="outcome"),
        pytest.param(change(described(ONE), "SM-1", "SM-2"), f"{ONE}: context.instruments: ", id="instrument"),
        pytest.param(
            change(described(ONE), '"csv_sha256": "..', '"csv_sha256": "zz'), f"{ONE}: csv_sha256: ", id="hash"
        ),
        pytest.param(
            change(described(ONE), '(context.rule": ")..', r"\1zz"), f"{ONE}: marks, of context.rule: ", id="mark"
        ),
        pytest.param(
            change(described(ONE), r'(\n  "sha256": ")..', r"\1zz"), f"{ONE}: sha256, or marks: ", id="own-hash"
        ),
        pytest.param(change(described(ONE), '"double"', '"triple"'), f"{ONE}: description, tableSchema: ", id="schema"),
        pytest.param(change(described(ONE), '"VN-0001.1.csv"', '"VN-1.1.csv"'), f"{ONE}: description, url: ", id="url"),
        pytest.param(change(described(ONE), r"\n ", "\n  "), f"{ONE}: VN-0001.1.csv-metadata.json: blanks", id="blank"),
        pytest.param(
            change(described(ONE), '"context"', '"contex"'), f"{ONE}: VN-0001.1.csv-metadata.json: ", id="key"
        ),
        pytest.param(
            change("spring-1/waiver.1.json", "M. Osei", "M. Obei"), "spring-1/waiver.1.json: one of its", id="waiver"
        ),
        pytest.param(
            change("spring-1/waiver.1.json", r"\n ", "\n"), "spring-1/waiver.1.json: blanks", id="waiver-blank"
        ),
        pytest.param(
            change("spring-1/waiver.1.json", "{", "["), "spring-1/waiver.1.json: is no waiver", id="no-waiver"
        ),
        pytest.param(
            change("spring-1/VN-0001.1.html", "PASS", "FAIL"), "spring-1/VN-0001.1.html: is not as", id="page"
        ),
        pytest.param(
            change("spring-1/VN-0001.1.html", "batchtest:sha256", "x"), "spring-1/VN-0001.1.html: is not", id="no-seal"
        ),
        pytest.param(
            change("spring-1/batch.html", "Batch", "Botch"), "spring-1/batch.html: is not as", id="batch-page"
        ),
        pytest.param(change("spring-1/batch.json", '"pass"', '"fail"'), "spring-1/batch.json: is not as", id="summary"),
        pytest.param(change("spring-1/batch.json", "{", ""), "spring-1/batch.json: cannot be read", id="no-summary"),
        pytest.param(
            change("spring-1/batch.json", '"sha256"', '"sha"'), "spring-1/batch.json: is not as", id="unsealed"
        ),
        pytest.param(
            change("spring-1/batch.html", "test:sha", "test:xha"), "spring-1/batch.html: is not", id="no-seal-2"
        ),
        pytest.param(
            change(".chain-bench-1", ': "..', ': "zz'), ".chain-bench-1: sha256: is not that of", id="head-hash"
        ),
        pytest.param(change(".chain-bench-1", "sha256", "sha"), ".chain-bench-1: .*is damaged", id="head-key"),
        pytest.param(
            change(".chain-bench-1", r"\n ", "\n"), ".chain-bench-1: is not as it was written", id="head-blank"
        ),
        pytest.param(
            change(".chain-bench-1", "VN-0001.2", "VN-0001.1"), ".chain-bench-1: record or prev", id="head-record"
        ),
    ],
)
def test_a_changed_byte_is_found_and_named(reports, tamper, named):
    """One edit gives one finding, with the record and the field; nothing else is blamed."""
    tamper(reports)
    (only,) = said(reports)
    assert re.match(re.escape(named).replace(r"\.\*", ".*"), only), only


def take_out(record: str, *, page: bool = False) -> Callable[[Path], object]:
    """Take an attempt out, with its page or without."""

    def tamper(reports: Path) -> None:
        for path in files_of(reports, record)[: 3 if page else 2]:
            path.unlink()

    return tamper


@pytest.mark.parametrize("page", [False, True], ids=["page-left", "page-too"])
@pytest.mark.parametrize("record", [ONE, TWO, THREE, FOUR], ids=["first", "second", "of-another-batch", "newest"])
def test_a_record_taken_out_is_named(reports, record, page):
    """By the page or the summary that still tell of it, or else by the hash that its neighbour carries."""
    take_out(record, page=page)(reports)
    found = said(reports)
    assert any(fault.startswith(f"{record}: was taken out") for fault in found), found
    (reports / record).parent.joinpath("batch.json").unlink()
    assert said(reports)


def move(source: str, target: str, *, keep: bool = False) -> Callable[[Path], object]:
    """Move an attempt to another name or batch, or copy it there."""

    def tamper(reports: Path) -> None:
        for path in files_of(reports, source)[:2]:
            ending = path.name.removeprefix(Path(source).name)
            (shutil.copy if keep else shutil.move)(path, reports / f"{target}{ending}")

    return tamper


@pytest.mark.parametrize(
    ("target", "keep"),
    [
        pytest.param("spring-1/VN-0007.1.csv", False, id="renamed"),
        pytest.param("spring-2/VN-0001.1.csv", False, id="moved-to-another-batch"),
        pytest.param("spring-1/VN-0001.3.csv", True, id="copied-as-a-later-attempt"),
    ],
)
def test_a_record_in_another_place_is_named(reports, target, keep):
    """A record says itself where it belongs."""
    move(ONE, target, keep=keep)(reports)
    assert f"{target}: name: belongs to {ONE}; it was moved, renamed or copied" in said(reports)


def test_a_record_under_a_name_that_none_has_is_missed(reports):
    """Renamed out of sight it leaves a gap, and what lies there is said to be no record."""
    move(TWO, "spring-1/old.csv")(reports)
    found = said(reports)
    assert f"{TWO}: was taken out from before {THREE}" in found
    assert "spring-1/old.csv: name: is no name of a record: added or renamed" in found


def test_lines_or_a_description_alone_are_no_record(reports):
    """Half a record is damage whichever half it is."""
    (reports / ONE).unlink()
    files_of(reports, TWO)[1].unlink()
    found = said(reports)
    assert f"{ONE}: was taken out; its description is still there" in found
    assert f"{TWO}: has no description: it was added, or its description taken out" in found


def test_a_record_added_by_other_means_forks_the_chain(reports):
    """One with all its own hashes right, made to follow on a record that another one follows on."""
    state = (reports / ".chain-bench-1").read_bytes()
    block = json.loads((reports / described(ONE)).read_text())[BLOCK]
    later = {"sha256": block["sha256"], "previous": block["previous_sha256"], "record": ONE, "finished": True}
    (reports / ".chain-bench-1").write_text(json.dumps(later, indent=1) + "\n")
    closed(reports, "VN-0008")
    (reports / ".chain-bench-1").write_bytes(state)
    (only,) = said(reports)
    assert "follow on the same record: the chain of bench-1 forks; one of them was added" in only
    assert TWO in only
    assert "spring-1/VN-0008.1.csv" in only


def test_a_record_added_at_the_end_is_found_by_the_head(reports):
    """The head names the newest; what follows on it was added, or the head was put back."""
    state = (reports / ".chain-bench-1").read_bytes()
    closed(reports, "VN-0008")
    (reports / ".chain-bench-1").write_bytes(state)
    (only,) = said(reports)
    assert only.startswith(f"spring-1/VN-0008.1.csv: previous_sha256: follows on {FOUR}, which .chain-bench-1 names")


def cut_tail(reports: Path) -> str:
    """Cut off the newest records so well that nothing in the folder tells, and give the head as it was printed."""
    printed = head(reports, "bench-1")
    assert printed is not None
    block = json.loads((reports / "spring-1" / "waiver.1.json").read_text())
    take_out(FOUR, page=True)(reports)
    name = {"sha256": block["sha256"], "previous": block["previous_sha256"], "record": "spring-1/waiver.1.json"}
    (reports / ".chain-bench-1").write_text(json.dumps({**name, "finished": True}, indent=1) + "\n")
    write_batch_json(reports / "spring-1")
    return printed


@pytest.mark.parametrize("digits", [12, 64])
def test_a_cut_tail_shows_against_a_printed_head(reports, digits):
    """What the folder alone cannot tell, and `verify` says so, a printed page does."""
    printed = cut_tail(reports)[:digits]
    assert said(reports) == []
    spaced = " ".join(re.findall("....", printed))
    assert "no record has this hash: records at the end were taken out, or the chain was" in said(reports, spaced)[0]
    assert said(reports, (head(reports, "bench-1") or "")[:digits]) == []


def test_a_rewritten_record_shows_against_a_printed_head(reports):
    """Who computes all hashes anew, neighbours and head too, is found by paper alone."""
    printed = head(reports, "bench-2")
    shutil.rmtree(reports)
    closed(reports, "VN-0009", batch="spring-2", station="bench-2", operator="nobody")
    assert said(reports) == []
    assert said(reports, printed)


def test_a_head_that_is_gone_or_empty_is_said(reports):
    """A chain without its head cannot tell its end."""
    (reports / ".chain-bench-1").unlink()
    assert said(reports) == [".chain-bench-1: the head of the chain of bench-1 was taken out"]


def test_a_waiver_in_another_place_is_named(reports):
    """A waiver says its batch and number; one copied to another batch excuses nothing there, and is found."""
    shutil.copy(reports / "spring-1/waiver.1.json", reports / "spring-2/waiver.1.json")
    assert said(reports) == [
        "spring-2/waiver.1.json: name: belongs to spring-1/waiver.1.json; it was moved, renamed or copied"
    ]


def test_what_cannot_be_read_is_damage(reports):
    """A folder in the place of a description, as a broken disk may leave it."""
    path = files_of(reports, FOUR)[1]
    path.unlink()
    path.mkdir()
    assert any("VN-0001.2.csv-metadata.json cannot be read: Is a directory" in fault for fault in said(reports))


def test_a_page_of_another_record_is_found(reports):
    """A whole and sealed page beside a record that it does not show."""
    shutil.copy(reports / "spring-1/VN-0001.1.html", reports / "spring-1/VN-0002.1.html")
    assert said(reports) == [f"spring-1/VN-0002.1.html: is not the page of {TWO}"]


def test_a_summary_that_contradicts_a_record_is_found(reports):
    """Even one whose own hash was computed anew."""
    path = reports / "spring-1" / "batch.json"
    text = json.loads(path.read_text())
    text["attempts"][0]["outcome"] = "fail"
    rest = {key: value for key, value in text.items() if key != "sha256"}
    path.write_text(laid_out({**rest, "sha256": hashlib.sha256(canonical(rest).encode()).hexdigest()}))
    assert said(reports) == [f"spring-1/batch.json: attempts, {ONE}: says fail, the record pass"]


def test_a_death_while_closing_is_no_damage(reports):
    """A head that announces a record which never got its name, and an open attempt, are told and not blamed."""
    Journal.claim(reports, replace(CONTEXT, serial="VN-0005")).abandon()
    state = json.loads((reports / ".chain-bench-1").read_text())
    announced = {"sha256": "f" * 64, "previous": state["sha256"], "record": "spring-1/VN-0005.1.csv", "finished": False}
    (reports / ".chain-bench-1").write_text(json.dumps(announced, indent=1) + "\n")
    found = verify(reports)
    assert found.damage == ()
    assert found.notes == ("spring-1/VN-0005.1.csv.part is open: begun and not closed",)


def test_a_clock_that_was_set_back_is_told(reports):
    """An hour back between two records: a note with both names, no damage, and the order is the chain's."""
    with Journal.claim(reports, replace(CONTEXT, serial="VN-0006")) as journal:
        journal.write(a_line())
        journal.close(Outcome.PASS, None, ended=CONTEXT.started - timedelta(hours=1), duration_s=90.0)
    found = verify(reports)
    assert found.damage == ()
    assert len(found.notes) == 1
    assert re.search(r"VN-0006.1.csv was closed after .* and its clock says 1:01:30 earlier", found.notes[0])


@pytest.mark.parametrize(
    ("folder", "printed", "message"),
    [
        pytest.param("spring-1", (), "is one batch, chains run across all of them; verify ", id="batch"),
        pytest.param("nothing", (), "holds no records; name the reports folder", id="empty"),
        pytest.param(".", ("3f2a",), "--head '3f2a' is no hash; write 8 to 64 of its hex digits", id="short"),
        pytest.param(".", ("not a hash",), "--head 'not a hash' is no hash", id="no-hash"),
    ],
)
def test_what_cannot_be_verified_is_said(reports, folder, printed, message):
    """Nothing to verify is not the same as whole."""
    (reports / "nothing").mkdir()
    with pytest.raises(SetupError, match=re.escape(message)):
        verify(reports / folder, printed)


def test_with_everything_taken_out_a_printed_head_still_tells(tmp_path):
    """An emptied folder against a page on paper."""
    (fault,) = said(tmp_path, "3f2a 91c0 77de")
    assert fault.startswith("printed head 3f2a 91c0 77de: no record has this hash")


@settings(deadline=None, max_examples=60, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data())
def test_any_byte_of_any_file_counts(whole, data):
    """Whichever byte of whichever file becomes whichever other: it is found."""
    files = sorted(path for path in whole.rglob("*") if path.is_file() and path.suffix != ".lock")
    path = data.draw(st.sampled_from(files))
    before = path.read_bytes()
    at = data.draw(st.integers(0, len(before) - 1))
    byte = data.draw(st.integers(0, 255).filter(lambda byte: byte != before[at]))
    try:
        path.write_bytes(before[:at] + bytes([byte]) + before[at + 1 :])
        assert said(whole), (path.name, at, byte)
    finally:
        path.write_bytes(before)


def test_the_words_of_every_format_are_known():
    """A description changes with its format: what the new one says of every record alike joins the list, for ever."""
    alike = {key: value for key, value in frame("VN-0001.1.csv").items() if key != "url"}
    assert hashlib.sha256(canonical(alike).encode()).hexdigest() in FRAMES
    assert "166aa3b02116e58d45bfc952fbe6f55a0ed4f60ecf642e6385806744f46ceba0" in FRAMES
