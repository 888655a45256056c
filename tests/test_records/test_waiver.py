"""Waivers on the disk: two people, a reason, an expiry; written once, in the chain, and none that was tampered with."""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from batchtest.errors import RecordError, SetupError
from batchtest.records import linked
from batchtest.records import waiver as room
from batchtest.records.chain import BEGINNING, canonical, link_hash, locked_chain
from batchtest.records.record import read_record
from batchtest.records.waiver import as_table, read_waivers, write_waiver
from test_records.contexts import closed
from test_records.waivers import WRITTEN, a_waiver

NAMES = st.text(st.characters(codec="utf-8", categories=["L"]), min_size=1, max_size=20)
WORDS = st.lists(NAMES, min_size=3, max_size=8).map(" ".join)


def file_of(reports: Path, number: int = 1) -> Path:
    """Where a waiver lies."""
    return reports / "spring-1" / f"waiver.{number}.json"


def resealed(table: dict[str, object]) -> str:
    """A file with a hash that fits it, as somebody with a text editor and patience would make it."""
    block = {key: value for key, value in table.items() if key != "sha256"}
    return json.dumps({**block, "sha256": link_hash(str(block["previous_sha256"]), "", canonical(block))})


@settings(max_examples=40)
@given(
    people=st.tuples(NAMES, NAMES).filter(lambda both: both[0].casefold() != both[1].casefold()),
    reason=WORDS,
    readings=st.lists(st.text(min_size=1).filter(lambda text: text.isprintable()), min_size=1, unique=True),
    lasts=st.timedeltas(timedelta(seconds=1), timedelta(days=30)),
    offset_min=st.integers(-720, 840),
)
def test_a_waiver_is_read_back_as_it_was_written(people, reason, readings, lasts, offset_min):
    """Whatever it says, in any time zone: the file gives back the same value, and its hash fits."""
    made = a_waiver(
        people=people,
        reason=reason[: room.MOST_LETTERS].strip(),
        readings=tuple(readings),
        expires=(WRITTEN + lasts).astimezone(timezone(timedelta(minutes=offset_min))),
    )
    if list(room.waiver_faults(made)):  # two names that are one once they are normalized
        with pytest.raises(SetupError, match=r"different people|will not do|is no name"):
            write_waiver(Path(tempfile.gettempdir()), made)
        return
    with tempfile.TemporaryDirectory() as folder:
        written = write_waiver(Path(folder), made)
        assert read_waivers(Path(folder), made.batch) == (written,)
    assert written == replace(made, number=1, sha256=written.sha256)


@given(
    name=st.lists(st.text("abcdeßéΣσςİıﬁ", min_size=1, max_size=6), min_size=1, max_size=3),
    change=st.sampled_from([str.upper, str.lower, str.title, str.swapcase, str.casefold]),
    space=st.sampled_from([" ", "  ", " ", "\t", ""]),
)
def test_one_person_is_not_two(name, change, space):
    """A name that differs only by case and spaces is the same person's: refused, and no file is left."""
    people = (" ".join(name), space.join(change(part) for part in name))
    if people[0].casefold().replace(" ", "") != people[1].casefold().replace(space or " ", ""):
        return  # letters whose other case folds to another letter, such as the dotted capital I
    with tempfile.TemporaryDirectory() as folder:
        with pytest.raises(SetupError, match="takes two different people"):
            write_waiver(Path(folder), a_waiver(people=people))
        assert not list(Path(folder).rglob("waiver*"))


@pytest.mark.parametrize(
    "second",
    [
        pytest.param("k.  ahn", id="case-and-spaces"),
        pytest.param(" K. Ahn ", id="outer-spaces"),
        pytest.param("K Ahn", id="stops"),
        pytest.param("K-Ahn", id="dash"),
        pytest.param("K. Ahn", id="no-break-space"),
        pytest.param("Ｋ. Ａｈｎ", id="full-width"),
    ],
)
def test_a_name_in_another_spelling_is_the_same_person(tmp_path, second):
    """What is compared are the letters."""
    with pytest.raises(SetupError, match="have another one answer for it too"):
        write_waiver(tmp_path, a_waiver(people=("K. Ahn", second)))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        pytest.param({"people": ("K. Ahn", "")}, "'' is no name of a person", id="no-name"),
        pytest.param({"people": ("...", "M. Osei")}, r"'\.\.\.' is no name", id="no-letters"),
        pytest.param({"people": ("K. Ahn", "M" * 61)}, "write 1 to 60 letters on one line", id="long-name"),
        pytest.param({"people": ("K. Ahn", "M\x1b[2J")}, "is no name of a person", id="control"),
        pytest.param({"reason": "broken off"}, "reason 'broken off' will not do; say what is wrong", id="two-words"),
        pytest.param({"reason": "a b " + "c" * 240}, "240 letters at most", id="long-reason"),
        pytest.param({"reason": "a b \x07c"}, "will not do", id="control-in-reason"),
        pytest.param({"people": ("=K. Ahn", "M. Osei")}, "has '=' where a spreadsheet", id="formula-name"),
        pytest.param({"reason": "@SUM(1) a b"}, "has '@' where a spreadsheet begins a formula", id="formula"),
        pytest.param({"readings": ()}, "this one names none; name one at least", id="no-reading"),
        pytest.param({"expires": WRITTEN}, "is past .*; write one up to 2026-03-31", id="past"),
        pytest.param({"expires": WRITTEN + timedelta(days=30, seconds=1)}, r"30\.0 days away, over 30", id="too-long"),
        pytest.param({"expires": datetime(2026, 3, 9)}, "has no offset; write it such as", id="no-offset"),
    ],
)
def test_what_is_no_waiver_is_refused_with_its_cure(tmp_path, changes, message):
    """Two people, a reason, an expiry: without one of them nothing is written."""
    with pytest.raises(SetupError, match=message):
        write_waiver(tmp_path, a_waiver(**changes))
    assert not list(tmp_path.rglob("*.json"))


def test_all_faults_are_told_at_once(tmp_path):
    """Mended in one pass."""
    with pytest.raises(SetupError) as found:
        write_waiver(tmp_path, a_waiver(people=("A", "a"), reason="", readings=()))
    assert len(str(found.value).splitlines()) == 3


@pytest.mark.parametrize("lasts", [timedelta(seconds=1), timedelta(days=30)], ids=["a-second", "30-days"])
def test_the_shortest_and_the_longest_are_taken(tmp_path, lasts):
    """The bounds belong to it."""
    assert write_waiver(tmp_path, a_waiver(expires=WRITTEN + lasts)).number == 1


def test_runs_of_spaces_become_one(tmp_path):
    """A name or a reason from two lines is stored on one."""
    written = write_waiver(tmp_path, a_waiver(people=(" K.  Ahn", "M.\nOsei"), reason="broke \n off;  checked"))
    assert (written.people, written.reason) == (("K. Ahn", "M. Osei"), "broke off; checked")


def test_a_waiver_is_a_link_of_the_chain(tmp_path):
    """It follows on the record before it, and the next record follows on it: taken out, it leaves a gap."""
    before = read_record(tmp_path / closed(tmp_path).record)
    written = write_waiver(tmp_path, a_waiver())
    after = read_record(tmp_path / closed(tmp_path).record)
    assert json.loads(file_of(tmp_path).read_text())["previous_sha256"] == before.sha256
    assert after.closing.previous_sha256 == written.sha256


def test_the_first_link_may_be_a_waiver(tmp_path):
    """A batch may begin with one, in a folder that is not there yet."""
    reports = tmp_path / "new" / "reports"
    write_waiver(reports, a_waiver())
    assert json.loads(file_of(reports).read_text())["previous_sha256"] == BEGINNING
    assert json.loads((reports / ".chain-bench-1").read_text())["finished"] is True


def test_numbers_are_never_used_twice(tmp_path):
    """Each gets the next one; none is written over another, nor over one that was begun and never finished."""
    assert [write_waiver(tmp_path, a_waiver()).number for _ in range(2)] == [1, 2]
    (tmp_path / "spring-1" / "waiver.3.json.part").write_text("")
    assert write_waiver(tmp_path, a_waiver()).number == 4
    assert [waiver.number for waiver in read_waivers(tmp_path, "spring-1")] == [1, 2, 4]


def test_a_batch_without_waivers_has_none(tmp_path):
    """No folder, or a folder with records alone."""
    assert read_waivers(tmp_path, "spring-1") == ()
    closed(tmp_path)
    assert read_waivers(tmp_path, "spring-1") == ()


def test_a_full_disk_leaves_no_waiver(tmp_path, small_disk):
    """What is not whole on the disk excuses nothing, and the chain goes on without it."""
    write_waiver(tmp_path, a_waiver())
    with small_disk(400), pytest.raises(RecordError, match="the waiver of batch spring-1 is not written"):
        write_waiver(tmp_path, a_waiver())
    assert [path.name for path in (tmp_path / "spring-1").iterdir()] == ["waiver.1.json"]
    assert [waiver.number for waiver in read_waivers(tmp_path, "spring-1")] == [1]


def test_a_station_that_dies_before_the_last_step_has_still_written_it(tmp_path):
    """The head was announced and the file is there: the next record follows on it."""
    written = write_waiver(tmp_path, a_waiver())
    head = tmp_path / ".chain-bench-1"
    head.write_text(json.dumps({**json.loads(head.read_text()), "finished": False}))
    with locked_chain(tmp_path, "bench-1") as chain:
        assert chain.previous == written.sha256


def test_an_interrupt_in_mid_write_leaves_the_chain_as_it_was(tmp_path, monkeypatch):
    """Ctrl-C after the file has its name, before the chain says so: neither file nor link."""

    def interrupted(_folder: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(linked, "sync_folder", interrupted)
    with pytest.raises(KeyboardInterrupt):
        write_waiver(tmp_path, a_waiver())
    assert list((tmp_path / "spring-1").iterdir()) == []
    with locked_chain(tmp_path, "bench-1") as chain:
        assert chain.previous == BEGINNING


@pytest.mark.parametrize("name", ["../x", "", "con", "a/b"])
def test_a_batch_that_is_no_file_name_is_refused(tmp_path, name):
    """Nothing is written outside the reports folder."""
    with pytest.raises(SetupError, match=r"batch .* (cannot be a file name|is kept for devices)"):
        write_waiver(tmp_path, a_waiver(batch=name))


@pytest.mark.parametrize(
    ("damage", "message"),
    [
        pytest.param(lambda text: text[:100], "damaged, it is no waiver", id="cut"),
        pytest.param(lambda text: "", "damaged, it is no waiver", id="empty"),
        pytest.param(lambda text: "[1]", "damaged, it is no waiver", id="other-json"),
        pytest.param(lambda text: text.replace('"reason"', '"why"'), "damaged: reason: Field required", id="key"),
        pytest.param(lambda text: text.replace("2026-03-14", "2026-03-24"), "was altered or moved", id="expiry"),
        pytest.param(lambda text: text.replace("M. Osei", "Q. Osei"), "was altered or moved", id="person"),
        pytest.param(lambda text: text.replace('"sha256": "', '"sha256": "0'), "was altered or moved", id="hash"),
    ],
)
def test_a_damaged_waiver_is_an_error_with_file_and_cure(tmp_path, damage, message):
    """Nobody tests on under a waiver that is not what two people wrote."""
    write_waiver(tmp_path, a_waiver())
    file = file_of(tmp_path)
    file.write_text(damage(file.read_text()))
    with pytest.raises(RecordError, match=message) as found:
        read_waivers(tmp_path, "spring-1")
    assert str(file) in str(found.value)
    assert "restore it from a copy, or go on in a new batch" in str(found.value)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        pytest.param({"people": ["A", "a"]}, "takes two different people", id="one-person"),
        pytest.param({"expires": "2026-05-02T08:00:00Z"}, "days away, over 30", id="for-months"),
        pytest.param({"expires": "2026-03-14T08:00:00"}, "has no offset", id="no-offset"),
        pytest.param({"number": 2}, "was altered or moved", id="number"),
        pytest.param({"batch": "spring-2"}, "was altered or moved", id="batch"),
    ],
)
def test_a_waiver_made_by_hand_keeps_the_rules(tmp_path, changes, message):
    """A hash that fits does not make a waiver of what the command would refuse."""
    write_waiver(tmp_path, a_waiver())
    file = file_of(tmp_path)
    file.write_text(resealed({**json.loads(file.read_text()), **changes}))
    with pytest.raises(RecordError, match=message):
        read_waivers(tmp_path, "spring-1")


def test_a_waiver_copied_elsewhere_is_refused(tmp_path):
    """Not under another number, and not in another batch."""
    write_waiver(tmp_path, a_waiver())
    shutil.copytree(tmp_path / "spring-1", tmp_path / "spring-2")
    with pytest.raises(RecordError, match=r"spring-2/waiver\.1\.json is not what was written there"):
        read_waivers(tmp_path, "spring-2")
    shutil.copy(file_of(tmp_path), file_of(tmp_path, 2))
    with pytest.raises(RecordError, match=r"spring-1/waiver\.2\.json is not what was written there"):
        read_waivers(tmp_path, "spring-1")


def test_a_waiver_taken_out_from_between_others_is_missed(tmp_path):
    """Numbers have no gaps."""
    for _ in range(3):
        write_waiver(tmp_path, a_waiver())
    file_of(tmp_path, 2).unlink()
    with pytest.raises(RecordError, match=r"waiver\.2\.json was taken out, one of a later number is there"):
        read_waivers(tmp_path, "spring-1")


def test_a_waiver_tells_machines_what_its_file_holds(tmp_path):
    """The same keys, but for its place in the chain."""
    written = write_waiver(tmp_path, a_waiver())
    held = json.loads(file_of(tmp_path).read_text())
    assert (held.pop("previous_sha256"), held.pop("sequence")) == (BEGINNING, 1)
    assert as_table(written) == held
    assert datetime.fromisoformat(held["written"]) == datetime(2026, 3, 2, 8, 0, tzinfo=UTC)
