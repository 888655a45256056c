"""Prints of certificates: numbered, linked into the station's chain, never overwritten, never half there."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest

from batchtest.errors import RecordError, SetupError
from batchtest.records.chain import BEGINNING
from batchtest.records.names import AttemptName
from batchtest.records.prints import Print, read_prints, write_print
from batchtest.records.record import read_record
from test_records.contexts import closed
from test_records.prints import a_print, pdf_of

NAME = AttemptName("VN-0001", 1)


def files(reports: Path) -> set[str]:
    """Names of the files about prints."""
    return {path.name for path in (reports / "spring-1").iterdir() if "certificate" in path.name}


def test_prints_are_numbered_and_kept(tmp_path):
    """The second is a reprint, and both are read back as they were written."""
    closed(tmp_path)
    done = [write_print(tmp_path, a_print(), pdf_of) for _ in range(2)]
    assert [each.number for each in done] == [1, 2]
    assert list(read_prints(tmp_path, "spring-1", NAME)) == done
    assert files(tmp_path) == {f"VN-0001.1.certificate-{n}.{ending}" for n in (1, 2) for ending in ("json", "pdf")}


def test_a_print_says_which_pdf_it_is(tmp_path):
    """The hash of the PDF tells a sheet that was printed here from one that was not."""
    closed(tmp_path)
    done = write_print(tmp_path, a_print(), pdf_of)
    assert hashlib.sha256(Path(done.pdf).read_bytes()).hexdigest() == done.pdf_sha256


def test_a_print_stands_in_the_chain(tmp_path):
    """It follows on the record before it, its sheet shows that head, and the next record follows on the print."""
    before = read_record(tmp_path / closed(tmp_path).record)
    done = write_print(tmp_path, a_print(), pdf_of)
    head = json.loads((tmp_path / ".chain-bench-1").read_text())
    after = read_record(tmp_path / closed(tmp_path).record)
    assert before.closing.previous_sha256 == BEGINNING
    assert done.head_sha256 == before.sha256
    assert Path(done.pdf).read_bytes() == f"print 1 after {before.sha256}".encode()
    assert (head["sha256"], head["finished"]) == (done.sha256, True)
    assert after.closing.previous_sha256 == done.sha256


def test_each_attempt_counts_its_own(tmp_path):
    """Prints of another attempt, or of a serial that begins alike, are not counted."""
    closed(tmp_path, "VN-0001.1")
    write_print(tmp_path, a_print(serial="VN-0001.1"), pdf_of)
    closed(tmp_path)
    closed(tmp_path)
    assert write_print(tmp_path, a_print(), pdf_of).number == 1
    assert write_print(tmp_path, a_print(attempt=2), pdf_of).number == 1


def test_the_pdf_goes_where_it_is_wanted(tmp_path):
    """The record of the print stays with the attempt and says where the sheet went."""
    closed(tmp_path)
    out = tmp_path / "sheet.pdf"
    done = write_print(tmp_path, a_print(), pdf_of, out)
    assert (done.pdf, out.read_bytes()) == (str(out), pdf_of(done))
    assert files(tmp_path) == {"VN-0001.1.certificate-1.json"}


def test_no_file_is_overwritten(tmp_path):
    """A sheet that is there stays, and the print that would have taken its place is none."""
    closed(tmp_path)
    out = tmp_path / "sheet.pdf"
    out.write_text("another")
    with pytest.raises(RecordError, match=r"certificate of VN-0001 attempt 1 is not printed: File exists \(.*sheet"):
        write_print(tmp_path, a_print(), pdf_of, out)
    assert (out.read_text(), files(tmp_path)) == ("another", set())


def test_a_print_that_cannot_be_set_leaves_nothing(tmp_path):
    """Its number is free for the next, and the chain is as it was."""
    closed(tmp_path)
    head = (tmp_path / ".chain-bench-1").read_bytes()

    def refuse(known: Print) -> bytes:
        raise SetupError(f"print {known.number} cannot be set")

    with pytest.raises(SetupError, match="print 1 cannot be set"):
        write_print(tmp_path, a_print(), refuse)
    assert files(tmp_path) == set()
    assert (tmp_path / ".chain-bench-1").read_bytes() == head
    assert write_print(tmp_path, a_print(), pdf_of).number == 1


def test_a_full_disk_leaves_no_half_print(tmp_path, small_disk):
    """Neither a cut PDF nor a record of one."""
    closed(tmp_path)
    with small_disk(20), pytest.raises(RecordError, match="is not printed: File too large"):
        write_print(tmp_path, a_print(), pdf_of)
    assert files(tmp_path) == set()


@pytest.mark.parametrize(
    ("before", "after", "said"),
    [
        pytest.param('"K. Ahn"', '"M. Roy"', "is not what was written there, it was altered", id="edited"),
        pytest.param('"number": 1', '"number": 2', "is not what was written there", id="renumbered"),
        pytest.param('"sha256"', '"sha"', "it is no print of a certificate", id="hash-gone"),
        pytest.param('"by": "K. Ahn"', '"by": 5', "is damaged: by: ", id="kind"),
        pytest.param("{", "", "it is no print of a certificate", id="no-json"),
    ],
)
def test_an_altered_print_is_found(tmp_path, before, after, said):
    """Nobody can make a print another one; and none is numbered after one that cannot be trusted."""
    closed(tmp_path)
    write_print(tmp_path, a_print(), pdf_of)
    path = tmp_path / "spring-1" / "VN-0001.1.certificate-1.json"
    path.write_text(path.read_text().replace(before, after))
    with pytest.raises(RecordError, match=f"certificate-1.json .*{said}"):
        write_print(tmp_path, a_print(), pdf_of)


def test_a_print_taken_out_is_missed(tmp_path):
    """A gap in the numbers is said; the last one leaves its gap in the chain."""
    closed(tmp_path)
    for _ in range(2):
        write_print(tmp_path, a_print(), pdf_of)
    (tmp_path / "spring-1" / "VN-0001.1.certificate-1.json").unlink()
    with pytest.raises(RecordError, match=r"certificate-1\.json was taken out, one of a later number is there"):
        read_prints(tmp_path, "spring-1", NAME)


def test_a_print_begun_and_never_finished_keeps_its_number(tmp_path):
    """A power cut in between: the next print is another one, and the sheet of the first is on no record."""
    closed(tmp_path)
    (tmp_path / "spring-1" / "VN-0001.1.certificate-1.json.part").touch()
    assert write_print(tmp_path, a_print(), pdf_of).number == 2
    assert [each.number for each in read_prints(tmp_path, "spring-1", NAME)] == [2]
