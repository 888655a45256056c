"""Notes, findings, prints of certificates and what only looks like a record: each is known to `verify`."""

from __future__ import annotations

import hashlib
import json
import re
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from batchtest.pages import write_attempt_page
from batchtest.pages.compare import page_faults
from batchtest.records.chain import head
from batchtest.records.finding import write_finding
from batchtest.records.note import write_note
from batchtest.records.prints import write_print
from batchtest.records.verify import verify
from batchtest.records.waiver import write_waiver
from test_records.contexts import closed
from test_records.findings import a_finding
from test_records.notes import a_note
from test_records.prints import a_print, pdf_of
from test_records.waivers import a_waiver

NOTE = "spring-1/note.1.json"
FINDING = "spring-1/finding.1.json"
PRINT = "spring-1/VN-0001.1.certificate-1.json"
SHEET = "spring-1/VN-0001.1.certificate-1.pdf"


@pytest.fixture
def reports(tmp_path: Path) -> Path:
    """A record, a waiver, a note, a print of a certificate and a finding, and a record that follows on them."""
    closed(tmp_path)
    write_waiver(tmp_path, a_waiver())
    write_note(tmp_path, a_note())
    write_print(tmp_path, a_print(), pdf_of)
    write_finding(tmp_path, a_finding())
    closed(tmp_path, "VN-0002")
    return tmp_path


def said(reports: Path) -> list[str]:
    """The damage that is found, in words."""
    return [str(fault) for fault in verify(reports).damage]


def test_every_kind_is_a_link_of_one_chain(reports):
    """Six records of five kinds, one head, no damage."""
    found = verify(reports)
    assert found.damage == ()
    assert [(chain.records, chain.head) for chain in found.chains] == [(6, head(reports, "bench-1"))]


def change(file: str, old: str, new: str) -> Callable[[Path], object]:
    """Put other text in the place of one."""

    def tamper(reports: Path) -> None:
        text = (reports / file).read_text()
        assert old in text
        (reports / file).write_text(text.replace(old, new, 1))

    return tamper


def copy(file: str, name: str) -> Callable[[Path], object]:
    """The same file under another name as well."""
    return lambda reports: shutil.copy(reports / file, (reports / file).with_name(name))


def mend(reports: Path) -> None:
    """Change a note, and make its own hash right."""
    path = reports / NOTE
    block = json.loads(path.read_text())
    block["text"], gone = "nothing was found", block.pop("sha256")
    text = json.dumps(block, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    own = hashlib.sha256(f"{block['previous_sha256']}\n\n{text}".encode()).hexdigest()
    assert own != gone
    path.write_text(json.dumps({**block, "sha256": own}, indent=1, ensure_ascii=False) + "\n")


@pytest.mark.parametrize(
    ("tamper", "named"),
    [
        pytest.param(change(NOTE, "R5B", "R6B"), f"{NOTE}: one of its values", id="note"),
        pytest.param(change(NOTE, "{", "["), f"{NOTE}: is no note any more", id="no-note"),
        pytest.param(mend, f"with the hash .* was taken out from before {PRINT}", id="note-mended"),
        pytest.param(lambda reports: (reports / NOTE).unlink(), f"taken out from before {PRINT}", id="note-gone"),
        pytest.param(change(PRINT, "K. Ahn", "M. Roy"), f"{PRINT}: one of its values", id="print"),
        pytest.param(copy(PRINT, "VN-0002.1.certificate-1.json"), "belongs to spring-1/VN-0001.1.cert", id="moved"),
        pytest.param(change(SHEET, "print 1", "print 2"), f"{SHEET}: is not the sheet that was printed", id="sheet"),
        pytest.param(copy(SHEET, "VN-0001.1.certificate-2.pdf"), "2.pdf: is a sheet that no record", id="no-print"),
        pytest.param(change(FINDING, "R5B is", "R5A is"), f"{FINDING}: one of its values", id="finding"),
        pytest.param(copy(FINDING, "finding.2.json"), "2.json: name: belongs to spring-1/finding.1", id="found-twice"),
        pytest.param(copy(NOTE, "remark.json"), "remark.json: name: claims to be a record", id="claims"),
        pytest.param(change(".chain-bench-1", '"sequence": 6', '"sequence": 7'), "chain-bench-1: sequence", id="count"),
    ],
)
def test_what_was_done_to_a_record_of_another_kind_is_found(reports, tamper, named):
    """Changed, taken out, moved, copied, replaced: named by its file."""
    tamper(reports)
    assert any(re.search(named, fault) for fault in said(reports)), said(reports)


def test_what_makes_no_claim_is_no_damage(reports):
    """Somebody's own list may lie there; a sheet may be taken away; what was begun and never finished is told."""
    (reports / "spring-1" / "list.json").write_text('{"sha256": "of something else"}')
    (reports / SHEET).unlink()
    (reports / "spring-1" / "note.2.json.part").write_text("")
    (reports / "spring-1" / "VN-0001.1.certificate-2.json.part").write_text("")
    (reports / "spring-1" / "VN-0001.1.certificate-2.pdf").write_text("half a sh")
    found = verify(reports)
    assert found.damage == ()
    assert [note for note in found.notes if "clock" not in note] == [
        "spring-1/VN-0001.1.certificate-2.json.part was begun and not finished; it is no record",
        "spring-1/note.2.json.part was begun and not finished; it is no record",
    ]


def test_a_head_that_counts_nothing_is_one_of_earlier_software(reports):
    """Written before links were counted, it had no number; with one of nought it was never written."""
    path = reports / ".chain-bench-1"
    held = json.loads(path.read_text())
    del held["sequence"]
    path.write_text(json.dumps(held, indent=1) + "\n")
    assert said(reports) == []
    path.write_text(json.dumps({**held, "sequence": 0}, indent=1) + "\n")
    assert said(reports) == [".chain-bench-1: is not as it was written"]


def test_a_page_is_right_with_the_notes_of_its_day(tmp_path):
    """Notes that came after a page make it no other; one that it shows must be there."""
    record = tmp_path / closed(tmp_path).record
    pages = [write_attempt_page(record).read_bytes()]
    for text in ("open joint found under R5B", "and under R6B"):
        write_note(tmp_path, a_note(text=text))
        pages.append(write_attempt_page(record).read_bytes())
    assert len(set(pages)) == 3
    page = record.with_suffix(".html")
    for content in pages:
        page.write_bytes(content)
        assert list(page_faults(page)) == []
    (tmp_path / "spring-1" / "note.2.json").unlink()
    assert [fault.record for fault in page_faults(page)] == ["spring-1/VN-0001.1.html"]
