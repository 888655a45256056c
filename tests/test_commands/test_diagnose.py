"""`batchtest diagnose`: the part by name, values measured by hand, what is kept, what is refused."""

from __future__ import annotations

import io
import json
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner
from stations import ROOT
from test_diagnosis.tables import small_table
from test_pages.html import Page
from test_records.contexts import closed
from test_records.notes import a_note

from batchtest.commands import program
from batchtest.commands.diagnose_ask import CAUTION, ask_on
from batchtest.commands.diagnose_record import Finder, finder_of, readable
from batchtest.commands.fault_table import setup_for, table_of
from batchtest.diagnosis import NEW, FaultTable, cached
from batchtest.errors import StationError
from batchtest.files.library import load_setup
from batchtest.nouns import Outcome
from batchtest.records.finding import read_findings
from batchtest.records.note import read_notes, write_note
from batchtest.records.verify import verify
from test_commands.diagnosed import AMBIGUOUS, a_batch, recorded


@pytest.fixture(scope="module")
def batch(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Three boards tested, made once."""
    return a_batch(tmp_path_factory.mktemp("tested"))


@pytest.fixture
def reports(batch: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of it, and the project's own files to go by."""
    monkeypatch.chdir(ROOT)
    return Path(shutil.copytree(batch, tmp_path / "reports"))


def diagnose(reports: Path, *arguments: str) -> str:
    """Run the command; what it said, to a machine without its warnings. Its errors are raised."""
    found = CliRunner().invoke(program, ["diagnose", *arguments, "--reports", str(reports)])
    if isinstance(found.exception, StationError):
        raise found.exception
    assert found.exit_code == 0, found.output
    return found.stdout if "--json" in arguments else found.output


def test_the_part_is_named_and_the_opinion_kept(reports):
    """By a serial; it shows on the pages, stands in the chain, and the record is not touched."""
    record = reports / "spring-1" / "VN-0001.1.csv"
    before = record.read_bytes()
    said = diagnose(reports, "VN-0001", "--batch", "spring-1")
    assert said.startswith("SIMULATED BENCH: no real board was measured\nVN-0001 attempt 1: FAIL: logic-reversed: ")
    assert "over 99 %  R5B is open" in said
    assert "change R5B\nwritten to " in said
    (found,) = read_findings(reports, "spring-1")
    assert (found.about, found.causes[0].parts, found.advice) == ("spring-1/VN-0001.1.csv", ("R5B",), "change R5B")
    assert "R5B is open" in Page(record.with_suffix(".html").read_text()).text
    assert "Probably: R5B is open (over 99 %)" in " ".join(
        Page((record.parent / "batch.html").read_text()).text.split()
    )
    assert record.read_bytes() == before
    assert verify(reports).damage == ()


def test_an_opinion_that_says_nothing_new_is_not_written_again(reports):
    """Not by looking twice, and not at all with --only-show."""
    record = str(reports / "spring-1" / "VN-0003.1.csv")
    assert "change DZ12" in diagnose(reports, record, "--only-show")
    assert read_findings(reports, "spring-1") == ()
    for _ in range(2):
        diagnose(reports, "spring-1/VN-0003.1.html")
    assert [found.number for found in read_findings(reports, "spring-1")] == [1]


def test_a_good_board_has_no_causes(reports):
    """And no finding."""
    assert "no reading speaks against this board" in diagnose(reports, "VN-0002")
    assert read_findings(reports, "spring-1") == ()


def test_values_measured_by_hand_are_kept_until_they_are_forgotten(reports):
    """An evening with a voltmeter is typed in once; the last value of a place counts."""
    for read in ("TP3=300ohm", "tp3=310 ohm"):
        diagnose(reports, "VN-0001", "--read", read)
    (_, last) = read_findings(reports, "spring-1")
    assert [(each.point, each.value, each.unit, each.state) for each in last.probed] == [("TP3", 310.0, "ohm", "")]
    told = json.loads(diagnose(reports, "VN-0001", "--read", "TP7=OL", "--json"))
    assert [(each["point"], each["value"]) for each in told["probed"]] == [("TP3", 310.0), ("TP7", None)]
    assert (told["file"], told["outcome"]) == ("finding.3.json", "fail")
    assert json.loads(diagnose(reports, "VN-0001", "--forget", "--json"))["probed"] == []


def test_every_board_of_a_batch_that_did_not_pass(reports):
    """In one go, with one table; a machine gets the same."""
    said = diagnose(reports, "--batch", "spring-1")
    assert [line for line in said.splitlines() if "  change" in line] == ["  change R5B", "  change DZ12"]
    told = json.loads(diagnose(reports, "--batch", "spring-1", "--json"))
    assert [(each["serial"], each["file"]) for each in told["boards"]] == [("VN-0001", None), ("VN-0003", None)]
    closed(reports, batch="summer-1")
    assert "every board that was tested passed in the end" in diagnose(reports, "--batch", "summer-1")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        pytest.param([], "name a record or a serial, such as batchtest diagnose VN-0004", id="nothing"),
        pytest.param(["VN-0001", "--read", "TP3"], "'TP3' is no reading; write point and value", id="no-value"),
        pytest.param(["VN-0001", "--read", "TP33=4.9V"], "no point 'TP33' on vent; did you mean 'TP3'", id="no-point"),
        pytest.param(["VN-0001", "--read", "TP3=4.9"], "'4.9' is no voltage and no resistance; write", id="no-unit"),
        pytest.param(["VN-0001", "--read", "TP3@load=4.9V"], "no state 'load'; ", id="no-state"),
        pytest.param(["VN-0009"], "no attempt of 'VN-0009'", id="no-serial"),
        pytest.param(["spring-1/VN-0009.1.csv"], r"there is no record spring-1/VN-0009\.1\.csv; name it", id="no-file"),
        pytest.param(["--batch", "sprong-1"], "no batch 'sprong-1' in .*; did you mean 'spring-1'", id="no-batch"),
        pytest.param(["--board", "vant"], "no board 'vant'; did you mean 'vent'", id="no-board"),
        pytest.param(["--follow"], "--follow wants to know which board", id="follow"),
    ],
)
def test_what_cannot_be_done_is_said_with_its_cure(reports, arguments, said):
    """Nothing is written."""
    with pytest.raises(StationError, match=said):
        diagnose(reports, *arguments)
    assert read_findings(reports, "spring-1") == ()


def test_no_opinion_is_built_on_an_altered_record(reports):
    """The person is told to restore it."""
    record = reports / "spring-1" / "VN-0001.1.csv"
    record.write_bytes(record.read_bytes().replace(b"logic-reversed", b"logic-reverted"))
    with pytest.raises(StationError, match=r"VN-0001\.1\.csv is not what it was when it was closed; restore it"):
        diagnose(reports, "VN-0001")


def test_a_host_has_no_fault_table(reports):
    """It is said, and what to name instead."""
    closed(reports, "CB-001", kind="host", batch="hosts")
    with pytest.raises(StationError, match="is of a host; only boards have a fault table"):
        diagnose(reports, "CB-001")


def test_files_that_changed_since_the_test_are_named(reports):
    """The table is of today's; the hash in the record tells."""
    record = recorded(reports, "VN-0004", "R5B open", file_hashes={"limits/vent.toml": "ab" * 32})
    assert "changed since the test, and taken as they are today: limits/vent.toml" in diagnose(reports, str(record))


def test_what_cured_boards_before_weighs_in_with_its_record(reports):
    """A rework of one part, after which the next test passed."""
    about = "spring-1/VN-0003.1.csv"
    write_note(reports, a_note(serial="VN-0003", about=about, part="DZ12"))
    closed(reports, "VN-0003", Outcome.PASS, notes=read_notes(reports, "spring-1", "VN-0003"))
    diagnose(reports, "VN-0001")
    assert read_findings(reports, "spring-1")[0].learned == ("spring-1/note.1.json",)
    said = diagnose(reports, "--parts")
    assert "DZ12" in said
    assert "2026-03: 1" in said
    told = json.loads(diagnose(reports, "--parts", "--board", "vent", "--json"))["parts"]
    assert [(each["part"], each["cured"], each["records"]) for each in told] == [("DZ12", 1, ["spring-1/note.1.json"])]
    for where, months in (("batch=spring-1", [{"2026-03": 1}]), ("cable=vent-lead", [])):
        reviewed = CliRunner().invoke(program, ["review", str(reports), "--json", "--where", where])
        (board,) = json.loads(reviewed.stdout)["boards"]
        assert [part["months"] for part in board["repaired"]] == months


def test_without_any_rework_there_are_no_figures(reports):
    """It is said how they come about."""
    assert "no rework names its part yet: batchtest note" in diagnose(reports, "--parts")


def test_what_no_test_can_see_is_listed_and_has_a_page(reports):
    """From the table of the fixture and bench that the board was last tested with."""
    said = diagnose(reports, "--board", "vent")
    assert "vent on vent-nest: of " in said
    page = reports / "coverage-vent.vent-nest.html"
    found = Page(page.read_text())
    assert found.faults == []
    assert "What the test of vent can see" in found.text
    told = json.loads(diagnose(reports, "--board", "vent", "--json"))
    known = len(told["seen"]) + len(told["within_limits"]) + len(told["invisible"])
    assert (told["board"], told["fixture"], told["faults"], told["page"]) == ("vent", "vent-nest", known, str(page))
    assert "R5B open" in [each["fault"] for each in told["seen"]]


def test_which_bench_is_asked_where_nothing_says_it(tmp_path, monkeypatch):
    """Without a batch of the board there may be several."""
    monkeypatch.chdir(ROOT)
    with pytest.raises(StationError, match=r"which bench is vent tested with\? say so with --bench: one of lan, sim"):
        diagnose(tmp_path / "nowhere", "--board", "vent")


def test_the_newest_batch_says_what_a_board_is_tested_with(reports):
    """One whose records cannot be read says nothing, nor does one of another board; what is named is taken."""
    closed(reports, "MI-0001", batch="mist-1", board="mist", fixture="mist-nest")
    for batch in ("spring-2", "spring-3"):
        closed(reports, "VN-0001", batch=batch, bench="lan" if batch == "spring-3" else "simulated")
    setup = setup_for("vent", None, None, reports)
    assert (setup.fixture_name, setup.bench_name) == ("vent-nest", "lan")
    (reports / "spring-3" / "VN-0001.1.csv-metadata.json").write_text("{}")
    assert setup_for("vent", None, None, reports).bench_name == "simulated"
    assert setup_for("vent", "vent-nest", "lan", reports).bench_name == "lan"


def test_a_table_that_is_not_there_is_made_and_kept(tmp_path, monkeypatch):
    """Of a few faults here; the second time nothing is solved."""
    setup, made = load_setup(ROOT, "vent-nest", "simulated"), list[str]()

    def build(*_setup: object, **_how: object) -> FaultTable:
        made.append("made")
        return small_table()

    monkeypatch.setattr("batchtest.diagnosis.kept.build_table", build)
    tables = [table_of(setup, tmp_path / "reports", shown=True) for _ in range(2)]
    assert made == ["made"]
    assert [table.key for table in tables] == [small_table().key] * 2


def asked_on(reports: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], typed: str):
    """Ask on about a record that leaves something open; the opinion in the end, and what was said."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    table = cached(setup, reports)
    assert table is not None
    finder: Finder = finder_of(setup, table, reports)
    record = readable(recorded(reports, "VN-0005", "R5B open", AMBIGUOUS))
    opinion = finder.find(record, ())
    assert opinion.diagnosis.next
    monkeypatch.setattr("sys.stdin", io.StringIO(typed))
    return ask_on(finder, record, opinion), opinion, capsys.readouterr().out


def test_at_a_terminal_it_asks_for_what_is_worth_most(reports, monkeypatch, capsys):
    """A value that cannot be read is said and asked for again; another place may be named; an empty line is enough."""
    last, first, said = asked_on(reports, monkeypatch, capsys, "much\nTP7=OL\n\n")
    spot = first.diagnosis.next[0].spot.name
    assert said.startswith(f"{CAUTION}\n{spot} = (value with unit")
    assert "'much' is no voltage and no resistance" in said
    assert [(each.spot, each.value) for each in last.probed] == [("TP7", None)]
    assert "measured by hand: TP7 over range without power" in said


def test_an_empty_answer_leaves_it_as_it_is(reports, monkeypatch, capsys):
    """Nothing was measured."""
    last, first, _ = asked_on(reports, monkeypatch, capsys, "\n")
    assert last is first


def test_priors_of_boards_that_came_back_are_others(reports):
    """Joints were good once."""
    setup = load_setup(ROOT, "vent-nest", "simulated")
    table = cached(setup, reports)
    assert table is not None
    assert finder_of(setup, table, reports, returned=True).priors != finder_of(setup, table, reports).priors
    assert finder_of(setup, table, reports).priors.defects == NEW.defects
