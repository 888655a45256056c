"""Where the readings of a review come from: nothing that is there is dropped without a word, nothing counted twice."""

from __future__ import annotations

import os
import shutil
from dataclasses import replace
from pathlib import Path

import duckdb
import fsspec
import pytest
from test_records.contexts import CONTEXT, a_line, close, closed

from batchtest.errors import RecordError, SetupError
from batchtest.nouns import Outcome, Reason, Retest
from batchtest.records.gather import gather
from batchtest.records.journal import Journal
from batchtest.review.engine import Notice, open_engine, open_sources
from batchtest.review.questions import Boards, Golden, Measured, Selection, Totals

from .generated import a_line as generated_line
from .generated import an_attempt, sources, write


def looked_at(where: Path | str, **selection: object) -> tuple[dict[str, int], list[Notice]]:
    """Boards of each batch, and what a review says that it does not see."""
    with open_sources(where) as found, open_engine(found, Selection(**selection)) as engine:  # type: ignore[arg-type]
        return {row.batch: row.boards for row in engine.ask(Boards, by=("batch",))}, list(found.notices)


@pytest.fixture
def reports(tmp_path: Path) -> Path:
    """Two closed batches of one board each."""
    closed(tmp_path / "reports", batch="spring-1")
    closed(tmp_path / "reports", batch="spring-2")
    return tmp_path / "reports"


@pytest.fixture(scope="module")
def one(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A gathered file of one board."""
    return write(tmp_path_factory.mktemp("one") / "one.parquet", an_attempt([generated_line(1, 5.0)]))


def test_closed_batches_are_gathered_and_counted(reports: Path):
    """Nobody has to gather first; each batch is told of as it is looked at."""
    told: list[str] = []
    with open_sources(reports, lambda batch: told.append(batch.folder.name)) as found:
        assert found.files == tuple(str(reports / name / "readings.parquet") for name in told)
    assert looked_at(reports) == ({"spring-1": 1, "spring-2": 1}, [])
    assert looked_at(reports / "spring-2") == ({"spring-2": 1}, [])


def test_a_reading_of_a_name_that_came_before_is_known_as_such(reports: Path):
    """Each of these records reads one name twice; a board has one value of it all the same."""
    with open_sources(reports) as found, open_engine(found, Selection()) as engine:
        (row,) = engine.ask(Measured)
    assert (row.readings, row.values) == (2, 2)


def test_what_is_closed_of_an_open_batch_counts(reports: Path):
    """A batch that is open on another station is counted as far as it is closed, and named, with the station."""
    with Journal.claim(reports, replace(CONTEXT, batch="spring-2", serial="VN-0002", station="bench-2")) as journal:
        journal.write(a_line())
        counted, (notice,) = looked_at(reports)
    assert counted == {"spring-1": 1, "spring-2": 1}
    assert (notice.kind, notice.where) == ("open", str(reports / "spring-2"))
    assert "begun and not closed: VN-0002.1 at bench-2; what is closed of it is counted" in notice.why
    assert not (reports / "spring-2" / "readings.parquet").exists()


def test_an_open_attempt_that_says_nothing_of_its_station_is_named_all_the_same(reports: Path):
    """Its description may not have reached the disk."""
    (reports / "spring-2" / "VN-0002.1.csv.part").touch()
    _, (notice,) = looked_at(reports)
    assert "VN-0002.1;" in notice.why


def test_a_torn_record_is_left_out_by_name(reports: Path):
    """What was cut off on the disk is no reading; the batch's others are counted."""
    closed(reports, "VN-0002", batch="spring-1")
    path = reports / "spring-1" / "VN-0001.1.csv"
    path.write_bytes(path.read_bytes()[:-40])
    counted, (notice,) = looked_at(reports)
    assert counted == {"spring-1": 1, "spring-2": 1}
    assert (notice.kind, notice.where) == ("left out", f"{reports}/spring-1/VN-0001.1.csv")
    assert "was altered" in notice.why


def test_a_torn_record_of_an_open_batch_is_left_out_by_name(reports: Path):
    """The same, where the batch cannot be gathered yet."""
    closed(reports, "VN-0002", batch="spring-1")
    path = reports / "spring-1" / "VN-0001.1.csv"
    path.write_bytes(path.read_bytes()[:-40])
    with Journal.claim(reports, replace(CONTEXT, serial="VN-0003")):
        counted, notices = looked_at(reports)
    assert counted == {"spring-1": 1, "spring-2": 1}
    assert sorted(notice.kind for notice in notices) == ["left out", "open"]


def test_a_record_that_is_gone_is_held_back_and_what_was_gathered_counts(reports: Path):
    """What was gathered once is not lost because a file is gone; the notice says what to restore."""
    gather([reports])
    for path in reports.glob("spring-2/VN-0001.1.csv*"):
        path.unlink()
    closed(reports, "VN-0002", batch="spring-2")
    counted, (notice,) = looked_at(reports)
    assert counted == {"spring-1": 1, "spring-2": 1}
    assert (notice.kind, notice.where) == ("held back", str(reports / "spring-2"))
    assert "holds VN-0001.1, which is not in this folder" in notice.why


def test_a_folder_that_takes_no_file_is_reviewed_all_the_same(reports: Path, monkeypatch: pytest.MonkeyPatch):
    """An archive that cannot be written to is gathered elsewhere, for as long as the review lasts."""
    replaced = os.replace

    def refuse(source: Path, target: Path) -> None:
        if str(target).startswith(str(reports)):
            raise PermissionError(f"{target} is on a disk that takes nothing")
        replaced(source, target)

    monkeypatch.setattr(os, "replace", refuse)
    assert looked_at(reports) == ({"spring-1": 1, "spring-2": 1}, [])
    assert not list(reports.glob("*/*.parquet"))


def test_a_store_of_many_stations_is_one_source(reports: Path, tmp_path: Path):
    """What several folders were gathered to counts as one; what was left out there is said."""
    closed(tmp_path / "other", batch="spring-3", station="bench-2")
    torn = closed(tmp_path / "other", "VN-0002", batch="spring-3", station="bench-2")
    (tmp_path / "other" / torn.record).write_bytes(b"")
    gather([reports, tmp_path / "other"], str(tmp_path / "store"))
    counted, (notice,) = looked_at(tmp_path / "store")
    assert counted == {"spring-1": 1, "spring-2": 1, "spring-3": 1}
    assert notice.where == "VN-0002.1.csv"


def test_an_object_store_is_one_source(reports: Path):
    """The same over a URL, on one thread of the database."""
    gather([reports], "memory://review-store")
    try:
        with open_sources("memory://review-store") as found:
            assert found.alone
        assert looked_at("memory://review-store") == ({"spring-1": 1, "spring-2": 1}, [])
    finally:
        fsspec.filesystem("memory").rm("/review-store", recursive=True)


def test_a_check_of_a_reference_board_is_known_by_its_reason(reports: Path):
    """The reason of a retest says so, and reaches the review."""
    retest = Retest(reason=Reason.GOLDEN_CHECK, earlier=("spring-1/VN-0001.1.csv",), number=1)
    with Journal.claim(reports, replace(CONTEXT, retest=retest)) as journal:
        journal.write(a_line())
        close(journal, Outcome.FAIL, "logic @ load point 2: too low")
    with open_sources(reports) as found, open_engine(found, Selection(where={"batch": ("spring-1",)})) as engine:
        (row,) = engine.ask(Boards)
        assert (row.boards, row.passed, row.passed_last) == (1, 1, 1)
        assert [golden.attempt for golden in engine.ask(Golden)] == [2]


@pytest.mark.parametrize(
    ("where", "message"),
    [
        pytest.param("nowhere", r"there is no folder .*nowhere; name the folder of the records", id="no-folder"),
        pytest.param("empty", r"no closed record in .*empty; test boards first", id="empty"),
        pytest.param(
            "open", r"no closed record in .*\n.*open/spring-1: open, begun and not closed: VN-0001.1", id="open"
        ),
        pytest.param("store", r"nothing was gathered to .*store; gather there first", id="empty-store"),
        pytest.param("odd://store", r"write a folder, or a URL", id="no-such-store"),
    ],
)
def test_where_there_is_nothing_to_review_it_is_said(tmp_path: Path, where: str, message: str):
    """No folder, no record, none that is closed: one line each, with the cure."""
    for name in ("empty", "store/station=bench-1"):
        (tmp_path / name).mkdir(parents=True)
    with Journal.claim(tmp_path / "open", CONTEXT):
        place = where if "://" in where else tmp_path / where
        with pytest.raises(SetupError, match=message), open_sources(place):
            pass


def test_a_torn_gathered_file_is_named(reports: Path, tmp_path: Path):
    """It is never skipped: the boards in it would be missing from every number."""
    gather([reports], str(tmp_path / "store"))
    path = next((tmp_path / "store").glob("*/batch=spring-1/readings.parquet"))
    path.write_bytes(path.read_bytes()[:-200])
    with pytest.raises(RecordError, match=r"gathered file cannot be read: .*spring-1.*gather that batch again"):
        looked_at(tmp_path / "store")


def test_a_record_that_is_there_twice_is_not_counted_twice(one: Path, tmp_path: Path):
    """Two gathered files with the same record: which to remove is for the person to say."""
    copy = Path(shutil.copy(one, tmp_path / "copy.parquet"))
    with (
        pytest.raises(SetupError, match=r"VN-0001\.1 of batch spring is there more than once"),
        open_engine(sources(one, copy), Selection()),
    ):
        pass


@pytest.mark.parametrize(
    ("columns", "message"),
    [
        pytest.param("* EXCLUDE (retest, repeated)", r"lacks repeated, retest: .* gather again", id="missing"),
        pytest.param("* REPLACE (NULL::BOOLEAN AS repeated)", r"batch spring was gathered by an earlier", id="empty"),
    ],
)
def test_a_file_of_an_earlier_version_is_not_half_counted(one: Path, tmp_path: Path, columns: str, message: str):
    """What it lacks would make a wrong number of it; it is to be gathered again."""
    old = tmp_path / "old.parquet"
    duckdb.execute(f"COPY (SELECT {columns} FROM '{one}') TO '{old}' (FORMAT parquet)")
    with pytest.raises(SetupError, match=message), open_engine(sources(old), Selection()):
        pass


@pytest.mark.parametrize(
    ("where", "message"),
    [
        pytest.param({"batsch": ("spring",)}, r"nothing can be chosen by 'batsch'; did you mean 'batch'\?", id="field"),
        pytest.param({"batch": ("sprong",)}, r"there is no batch 'sprong'; did you mean 'spring'\?", id="value"),
        pytest.param({"load_point": ("3",)}, r"there is no load point '3'; known: 0", id="load-point"),
        pytest.param({"point": ("it's",)}, r"there is no point \"it's\"; known: logic", id="quote"),
    ],
)
def test_a_selection_of_what_is_not_there_is_an_error(one: Path, where: dict[str, tuple[str, ...]], message: str):
    """A slip of the pen would otherwise be a review of nothing."""
    with pytest.raises(SetupError, match=message), open_engine(sources(one), Selection(where=where)):
        pass


@pytest.mark.parametrize("engine", ["duck", "sparks://here:7077"])
def test_an_engine_that_is_none_is_an_error(one: Path, engine: str):
    """With the names of those that there are."""
    message = r"no engine '.*'; .*; a cluster is named by its address"
    with pytest.raises(SetupError, match=message), open_engine(sources(one), Selection(), engine):
        pass


def test_one_record_is_reviewed_like_any_number(one: Path):
    """One board, one value: counted, and nothing is divided by."""
    with open_engine(sources(one), Selection()) as engine:
        (row,) = engine.ask(Measured)
        (totals,) = engine.ask(Totals)
    assert (row.values, row.sum_micro, totals.boards) == (1, 0, 1)


def test_too_little_memory_is_said_as_such(reports: Path, monkeypatch: pytest.MonkeyPatch):
    """The files are whole, so gathering again would be no cure."""
    monkeypatch.setattr("batchtest.review.engine.database._MEMORY", "1MB")
    with pytest.raises(SetupError, match="there are more readings than 1MB of memory are enough for; look at fewer"):
        looked_at(reports)
