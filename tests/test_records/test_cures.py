"""What repairs taught: only one part alone, after which the test passed, is a cure that tells which part it was."""

from __future__ import annotations

from pathlib import Path

import pytest

from batchtest.nouns import NoteKind, Outcome
from batchtest.records.cures import Cure, cured_counts, cures_of, part_figures
from batchtest.records.finding import write_finding
from batchtest.records.note import read_notes, write_note
from test_records.contexts import closed
from test_records.findings import a_finding
from test_records.notes import a_note


def tried(reports: Path, outcome: Outcome, serial: str = "VN-0001") -> None:
    """Test a board, which carries its notes of that moment as every attempt does."""
    closed(reports, serial, outcome, notes=read_notes(reports, "spring-1", serial))


def rework(reports: Path, part: str, *, attempt: int = 1, serial: str = "VN-0001") -> None:
    """Rework a part of a board after one of its attempts."""
    write_note(reports, a_note(part=part, serial=serial, about=f"spring-1/{serial}.{attempt}.csv"))


def told(cures: tuple[Cure, ...]) -> list[tuple[str, bool, bool | None, bool]]:
    """Part, alone, cured, and whether it tells."""
    return [(cure.part, cure.alone, cure.cured, cure.tells) for cure in cures]


def test_the_next_test_says_whether_a_rework_cured(tmp_path: Path):
    """The first part did not, the second did; each links to its note and to the attempt that it was done for."""
    tried(tmp_path, Outcome.FAIL)
    rework(tmp_path, "R5A")
    tried(tmp_path, Outcome.FAIL)
    rework(tmp_path, "r5b", attempt=2)
    assert told(cures_of(tmp_path)) == [("R5A", True, False, False), ("R5B", True, None, False)]
    tried(tmp_path, Outcome.PASS)
    first, second = found = cures_of(tmp_path)
    assert told(found) == [("R5A", True, False, False), ("R5B", True, True, True)]
    assert (first.record, second.record, second.about, second.board) == (
        "spring-1/note.1.json",
        "spring-1/note.2.json",
        "spring-1/VN-0001.2.csv",
        "vent",
    )
    assert cured_counts(found, "vent") == {"R5B": 1}
    assert cured_counts(found, "mist") == {}


def test_two_parts_replaced_at_once_tell_of_neither(tmp_path: Path):
    """The board is cured, and nobody knows by which; a rework that names no part is such a second one."""
    for serial, other in (("VN-0001", "R5A"), ("VN-0002", "")):
        tried(tmp_path, Outcome.FAIL, serial)
        rework(tmp_path, "R5B", serial=serial)
        rework(tmp_path, other, serial=serial)
        tried(tmp_path, Outcome.PASS, serial)
    found = cures_of(tmp_path)
    assert [(cure.part, cure.alone, cure.cured) for cure in found] == [
        ("R5B", False, True),
        ("R5A", False, True),
        ("R5B", False, True),
    ]
    assert cured_counts(found, "vent") == {}


def test_the_same_part_twice_is_one_part(tmp_path: Path):
    """Touched up first, and then replaced."""
    tried(tmp_path, Outcome.FAIL)
    rework(tmp_path, "R5B")
    rework(tmp_path, "R5B")
    tried(tmp_path, Outcome.PASS)
    assert told(cures_of(tmp_path)) == [("R5B", True, True, True)] * 2


def test_an_attempt_that_did_not_know_of_the_note_is_no_test_of_it(tmp_path: Path):
    """A note about the first attempt that was written after the second was not tried by the second."""
    tried(tmp_path, Outcome.FAIL)
    tried(tmp_path, Outcome.PASS)
    rework(tmp_path, "R5B")
    assert told(cures_of(tmp_path)) == [("R5B", True, None, False)]


@pytest.mark.parametrize("outcome", [Outcome.STOPPED, Outcome.REFUSED])
def test_where_the_bench_was_at_fault_nothing_was_tried(tmp_path: Path, outcome: Outcome):
    """Such an attempt is no test of the board."""
    tried(tmp_path, Outcome.FAIL)
    rework(tmp_path, "R5B")
    tried(tmp_path, outcome)
    assert told(cures_of(tmp_path)) == [("R5B", True, None, False)]
    tried(tmp_path, Outcome.PASS)
    assert told(cures_of(tmp_path)) == [("R5B", True, True, True)]


def test_other_notes_and_damaged_batches_teach_nothing(tmp_path: Path):
    """A scrap is no cure; a batch with an altered note is left to `verify`; no folder has no cures."""
    assert cures_of(tmp_path / "nowhere") == ()
    tried(tmp_path, Outcome.FAIL)
    write_note(tmp_path, a_note(kind=NoteKind.SCRAP))
    assert cures_of(tmp_path) == ()
    rework(tmp_path, "R5B")
    assert len(cures_of(tmp_path)) == 1
    note = tmp_path / "spring-1" / "note.2.json"
    note.write_text(note.read_text().replace("R5B", "R5C"))
    assert cures_of(tmp_path) == ()


def test_figures_say_how_often_the_finding_had_it_first(tmp_path: Path):
    """Of three cures by R5B alone two had a finding, one of which named it first; one rework of R5A cured nothing."""
    for serial in ("VN-0001", "VN-0002", "VN-0003"):
        tried(tmp_path, Outcome.FAIL, serial)
    causes = a_finding().causes
    write_finding(tmp_path, a_finding(serial="VN-0001", about="spring-1/VN-0001.1.csv"))
    write_finding(tmp_path, a_finding(serial="VN-0002", about="spring-1/VN-0002.1.csv", causes=causes[1:]))
    rework(tmp_path, "R5A", serial="VN-0003")
    tried(tmp_path, Outcome.FAIL, "VN-0003")
    for serial, attempt in (("VN-0001", 1), ("VN-0002", 1), ("VN-0003", 2)):
        rework(tmp_path, "R5B", serial=serial, attempt=attempt)
        tried(tmp_path, Outcome.PASS, serial)
    cures = cures_of(tmp_path)
    assert [(cure.serial, cure.rank) for cure in cures] == [
        ("VN-0003", None),
        ("VN-0003", None),
        ("VN-0001", 1),
        ("VN-0002", 0),
    ]
    best, other = part_figures(cures)
    assert (best.part, best.reworked, best.cured, best.open) == ("R5B", 3, 3, 0)
    assert (best.found, best.found_first, best.months) == (2, 1, {"2026-03": 3})
    assert best.records == ("spring-1/note.4.json", "spring-1/note.2.json", "spring-1/note.3.json")
    assert (other.part, other.reworked, other.cured, other.found) == ("R5A", 1, 0, 0)


def test_an_altered_finding_is_no_opinion(tmp_path: Path):
    """The cure counts all the same."""
    tried(tmp_path, Outcome.FAIL)
    write_finding(tmp_path, a_finding())
    file = tmp_path / "spring-1" / "finding.1.json"
    file.write_text(file.read_text().replace("R5B is open", "R5A is open"))
    rework(tmp_path, "R5B")
    tried(tmp_path, Outcome.PASS)
    assert [(cure.tells, cure.rank) for cure in cures_of(tmp_path)] == [(True, None)]
