"""A disk that fails at every call in turn: it is said at once, nothing is torn, and the next attempt works."""

from __future__ import annotations

import errno
import shutil
from functools import partial
from pathlib import Path

import pytest

from batchtest.pages import write_attempt_page, write_batch_page
from batchtest.records.finding import read_findings, write_finding
from batchtest.records.journal import Journal
from batchtest.records.names import AttemptName
from batchtest.records.note import read_notes, write_note
from batchtest.records.prints import read_prints, write_print
from batchtest.records.unfinished import Found, close_unfinished
from batchtest.records.verify import verify
from batchtest.records.waiver import read_waivers, write_waiver
from test_records.attempting import Told, losses, whole_attempt
from test_records.contexts import CONTEXT, a_line, closed
from test_records.failpoints import Failpoint, fail, said_of
from test_records.findings import a_finding
from test_records.notes import a_note
from test_records.prints import a_print, pdf_of
from test_records.waivers import a_waiver

#: How everything begins that is said of an attempt without a closed record.
NOT_RECORDED = (
    "no record of VN-0001 can be begun; do not test: ",
    "VN-0001 attempt 1 is not recorded; the board must not leave the bench: ",
)


def left(reports: Path) -> list[Found]:
    """What is found unfinished, and closed."""
    return list(close_unfinished(reports, "bench-1"))


def write_pages(record: Path) -> None:
    """The pages of an attempt and of its batch."""
    write_attempt_page(record)
    write_batch_page(record.parent)


@pytest.mark.no_cover
@pytest.mark.parametrize(
    ("code", "lasting"),
    [
        pytest.param(errno.EIO, False, id="EIO"),
        pytest.param(errno.ENOSPC, False, id="ENOSPC"),
        pytest.param(errno.EACCES, False, id="EACCES"),
        pytest.param(errno.ENOSPC, True, id="ENOSPC-from-then-on"),
    ],
)
def test_every_call_of_an_attempt_may_fail(tmp_path, code, lasting):
    """Claim, lines, closing, chain, summary: the n-th call fails for every n. What a person was told is on the disk, a
    verdict only with its whole record; what could not be written is said; afterwards the chain is whole and takes more.
    """
    at = 0
    while True:
        at += 1
        reports = tmp_path / "reports"
        reports.mkdir()
        point, told = Failpoint(reports, at, fail(code), lasting), Told()
        said = said_of(point, partial(whole_attempt, reports, told))
        if not point.struck:
            break
        where = (point.struck[0], said)
        assert losses(reports, told) == (0, 0), where
        assert said.startswith(NOT_RECORDED) if told.attempt is None else said == "" or str(reports) in said, where
        assert all(found.attempt is not None for found in close_unfinished(reports, "bench-1")), where
        assert closed(reports, serial="VN-0002").number == 1, where
        assert verify(reports).damage == (), where
        assert list(reports.glob("*/*.part")) == [], where
        shutil.rmtree(reports)
    assert at > 40


def test_every_call_of_closing_what_was_left_may_fail(tmp_path):
    """A disk that fails while an unfinished attempt is closed, its last line cut off: it stays as it was, bytes and
    all, until the next start closes it.
    """
    at = 0
    while True:
        at += 1
        reports = tmp_path / "reports"
        with Journal.claim(reports, CONTEXT) as journal:
            journal.write(a_line(1))
        with journal.path.open("ab") as part:
            part.write(b'2,2026-03-02T08:15:02+00:00,"\xc3')
        first: list[Found] = []
        said_of(point := Failpoint(reports, at, fail(errno.EIO)), lambda: first.extend(left(reports)))  # noqa: B023
        outcomes = [found.attempt.outcome for found in (*first, *left(reports)) if found.attempt]
        assert outcomes == ["stopped"], point.struck
        assert '"torn": "2,2026-03-02T08:15:02+00:00,\\"Ã"' in next(reports.glob("*/*.json")).read_text()
        assert verify(reports).damage == (), point.struck
        assert list(reports.glob("*/*.part")) == [], point.struck
        shutil.rmtree(reports)
        if not point.struck:
            break
    assert at > 15


@pytest.mark.parametrize(
    ("write", "read", "lost"),
    [
        pytest.param(
            lambda reports: write_waiver(reports, a_waiver(batch="spring-1", station="bench-1")),
            lambda reports: read_waivers(reports, "spring-1"),
            "the waiver of batch spring-1 is not written; it excuses nothing: ",
            id="waiver",
        ),
        pytest.param(
            lambda reports: write_note(reports, a_note()),
            lambda reports: read_notes(reports, "spring-1"),
            "the note on VN-0001 of batch spring-1 is not written: ",
            id="note",
        ),
        pytest.param(
            lambda reports: write_finding(reports, a_finding()),
            lambda reports: read_findings(reports, "spring-1"),
            "the finding on VN-0001 of batch spring-1 is not written: ",
            id="finding",
        ),
        pytest.param(
            lambda reports: write_print(reports, a_print(), pdf_of),
            lambda reports: read_prints(reports, "spring-1", AttemptName("VN-0001", 1)),
            "the certificate of VN-0001 attempt 1 is not printed: ",
            id="print",
        ),
    ],
)
def test_every_call_of_a_record_of_one_file_may_fail(tmp_path, write, read, lost):
    """Waiver, note, finding, print: written whole, or no file of it is left, and the chain goes on without it."""
    at = 0
    while True:
        at += 1
        reports = tmp_path / "reports"
        closed(reports)
        said = said_of(point := Failpoint(reports, at, fail(errno.EIO)), partial(write, reports))
        assert said == "" or said.startswith(lost), (point.struck, said)
        assert len(read(reports)) == (said == ""), point.struck
        closed(reports)
        assert verify(reports).damage == (), point.struck
        shutil.rmtree(reports)
        if not point.struck:
            break
    assert at > 10


def test_every_call_of_a_page_may_fail(tmp_path):
    """A page appears whole or not at all; the old one stays; what could not be written is said with its path."""
    record = tmp_path / closed(tmp_path).record
    write_pages(record)
    pages = {path: path.read_bytes() for path in record.parent.glob("*.html")}
    at = 0
    while True:
        at += 1
        said = said_of(point := Failpoint(record.parent, at, fail(errno.ENOSPC)), partial(write_pages, record))
        assert said == "" or str(record.parent) in said, point.struck
        if not point.struck:
            break
        assert all(page.stat().st_size > 20_000 and page.read_bytes().endswith(b"</html>") for page in pages)
        assert list(record.parent.glob(".*.tmp")) == [], point.struck
    assert {path: path.read_bytes() for path in pages} == pages
    assert at > 12
