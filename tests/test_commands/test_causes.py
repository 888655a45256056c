"""Likely causes beside a batch: a second program finds them, the screen shows them, no test waits or fails for it."""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace
from pathlib import Path

import pytest
from stations import ROOT, demo_setup
from test_diagnosis.tables import small_table
from test_pages.examples import STARTED, lines

from batchtest.commands import causes as causes_module
from batchtest.commands.boards import CAUTIONS, Wanted
from batchtest.commands.boards_json import batch_json
from batchtest.commands.causes import Causes, causes_beside
from batchtest.commands.causes_end import last_causes
from batchtest.commands.diagnose_follow import follow
from batchtest.commands.retests import Answer
from batchtest.commands.screen import PlainScreen, SilentScreen
from batchtest.diagnosis.cache import save
from batchtest.nouns import Attempt, Outcome
from batchtest.records.finding import read_findings
from batchtest.sequencer import Told
from test_commands.diagnosed import recorded
from test_commands.test_boards import batchtest
from test_commands.test_screen import CAUSE, Shown

LINES = ["logic reads 310 ohm, not 284 ohm", "      75 %  R5B is open", "change R5B"]
FAILED = Attempt(
    board="vent", batch="b", serial="VN-0001", number=1, outcome=Outcome.FAIL, first_cause=CAUSE, started=STARTED,
    duration_s=14.25, record="b/VN-0001.1.csv",
)  # fmt: skip
#: A second program that says how far it is, waits as long as it is told, and answers every record alike.
ANSWERS = """
import json, sys, time
def say(**told): print(json.dumps(told), flush=True)
say(progress=[1, 4])
time.sleep(float(sys.argv[1]))
say(ready=True)
for line in sys.stdin:
    record = "/".join(line.strip().split("/")[-2:])
    if record.endswith("VN-0009.1.csv"): sys.exit()
    told = {"error": "gone"} if record.endswith("VN-0008.1.csv") else {"lines": sys.argv[2:]}
    say(record=record, **told)
"""


class Kept:
    """Keeps what it is shown."""

    def __init__(self) -> None:
        self.shown: dict[str, list[str]] = {}

    def __call__(self, serial: str, said: list[str]) -> None:
        self.shown[serial] = said


@contextmanager
def second_program(reports: Path, wait_s: float = 0.0) -> Iterator[Causes]:
    """One that answers in its own way, ended with the block."""
    with subprocess.Popen(
        [sys.executable, "-c", ANSWERS, str(wait_s), *LINES], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as child:
        yield Causes(child, reports)
        child.kill()


def until(what: object, causes: Causes, kept: Kept) -> None:
    """Look again and again, for ten seconds at most."""
    ends = time.monotonic() + 10
    while not what() and time.monotonic() < ends:  # type: ignore[operator]
        causes.show_soon(kept)
        time.sleep(0.02)
    assert what()  # type: ignore[operator]


def board(serial: str, outcome: Outcome = Outcome.FAIL) -> Attempt:
    """An attempt at a board."""
    return replace(FAILED, serial=serial, outcome=outcome, record=f"b/{serial}.1.csv")


def test_only_boards_that_did_not_pass_are_asked_for(tmp_path):
    """A pass has no cause; where the bench was at fault, the board is not judged."""
    kept = Kept()
    with second_program(tmp_path) as causes:
        for outcome in Outcome:
            causes.ask(board(f"VN-{outcome.value}", outcome))
        assert causes.open == ["VN-fail", "VN-doubtful"]
        until(lambda: len(kept.shown) == 2, causes, kept)
        assert causes.open == []
    assert kept.shown == {"VN-fail": LINES, "VN-doubtful": LINES}


def test_a_test_never_waits_for_the_fault_table(tmp_path):
    """While it is not there, looking takes no time; at the end it is waited for, and how far it is is told."""
    kept, told = Kept(), list[tuple[int, int]]()
    with second_program(tmp_path, wait_s=0.6) as causes:
        causes.ask(board("VN-0001"))
        begun = time.monotonic()
        causes.show_soon(kept)
        assert (time.monotonic() - begun < 0.3, kept.shown, causes.ready) == (True, {}, False)
        causes.wait(kept, lambda done, total: told.append((done, total)), 10.0)
    assert kept.shown == {"VN-0001": LINES}
    assert set(told) == {(1, 4)}


def test_waiting_has_an_end(tmp_path):
    """A table that does not come is not waited for longer than said."""
    with second_program(tmp_path, wait_s=60) as causes:
        causes.ask(board("VN-0001"))
        begun = time.monotonic()
        causes.wait(Kept(), lambda done, total: None, 0.3)
        assert time.monotonic() - begun < 5
        assert causes.open == ["VN-0001"]


def test_a_second_program_that_fails_takes_no_test_with_it(tmp_path):
    """It dies at the second board: what it said before is shown, the others are told as open, asking goes on."""
    kept = Kept()
    with second_program(tmp_path) as causes:
        for serial in ("VN-0008", "VN-0009"):
            causes.ask(board(serial))
        until(lambda: causes.ended, causes, kept)
        causes.ask(board("VN-0010"))
        causes.wait(kept, lambda done, total: None, 10.0)
        assert causes.open == ["VN-0009"]
    assert kept.shown == {"VN-0008": ["gone"]}


@pytest.mark.parametrize("quiet", [False, True])
def test_what_does_not_come_is_said_with_the_command_that_gets_it(tmp_path, capsys, quiet):
    """In a pipe nothing is waited for; a machine's output stays its own."""
    with second_program(tmp_path, wait_s=60) as causes:
        causes.ask(board("VN-0001"))
        assert last_causes(causes, "spring-1", quiet=quiet) == {}
    said = capsys.readouterr()
    assert "what probably failed on VN-0001: batchtest diagnose --batch spring-1" in (said.err if quiet else said.out)
    assert said.out == "" or not quiet


def test_what_comes_in_the_end_is_shown(tmp_path, capsys):
    """Where the table is there, the last board's causes take no time."""
    kept = Kept()
    with second_program(tmp_path) as causes:
        until(lambda: causes.ready, causes, kept)
        causes.ask(board("VN-0001"))
        assert last_causes(causes, "spring-1", quiet=False) == {"VN-0001": LINES}
    assert capsys.readouterr().out.splitlines() == ["VN-0001, what probably failed:", *(f"  {line}" for line in LINES)]


class Leaving:
    """Causes that are still to come when the person presses Ctrl-C."""

    open, ready = ("VN-0001",), False

    def wait(self, show: object, progress: object, most_s: float) -> None:
        """Is asked to wait for longer than any table takes."""
        assert most_s > 300
        raise KeyboardInterrupt


def test_at_a_terminal_it_is_waited_for_and_ctrl_c_leaves_it(monkeypatch, capsys):
    """What that is for is said first, and afterwards how to get it."""
    monkeypatch.setattr("sys.stdout.isatty", lambda: True)
    assert last_causes(Leaving(), "spring-1", quiet=False) == {}  # type: ignore[arg-type]
    said = capsys.readouterr()
    assert said.out.startswith("the fault table of this board is made once, for the likely causes; Ctrl-C leaves")
    assert "what probably failed on VN-0001: batchtest diagnose --batch spring-1" in said.out
    assert said.err == "left for later\n"


def test_a_second_program_that_does_not_end_is_ended(tmp_path, monkeypatch):
    """It had its time."""
    monkeypatch.setattr(causes_module, "END_S", 0.1)
    deaf = [sys.executable, "-c", "import time; time.sleep(60)"]
    with subprocess.Popen(deaf, stdin=subprocess.PIPE, text=True) as child:
        causes_module._end(child)
        assert child.wait(5) == -signal.SIGKILL


def test_a_machine_is_told_as_well(tmp_path):
    """In the object at the end, by serial."""
    wanted = Wanted(
        batch="b", serials=None, operator="K. Ahn", ambient=None, told=Told(), again=Answer(), reports=tmp_path,
        strict=False, as_json=True, causes=True,
    )  # fmt: skip
    told = json.loads(batch_json(wanted, [FAILED], None, (), {"VN-0001": LINES}, KeyboardInterrupt()))
    assert (told["likely_causes"], told["error"]) == ({"VN-0001": LINES}, "KeyboardInterrupt")
    assert [(each["serial"], each["outcome"]) for each in told["attempts"]] == [("VN-0001", "fail")]
    assert "error" not in json.loads(batch_json(wanted, [], None, (), {}, None))


def test_nobody_wants_it_and_nothing_runs(tmp_path):
    """`--no-causes`."""
    with causes_beside(demo_setup(), tmp_path, wanted=False) as causes:
        assert causes is None


def test_screens_show_causes_below_their_board():
    """In a pipe as lines; a machine sees none; nothing is no line."""
    stream = io.StringIO()
    for screen in (PlainScreen(stream), SilentScreen()):
        screen.show_causes("VN-0001", LINES)
        screen.show_causes("VN-0002", [])
    assert stream.getvalue().splitlines() == ["VN-0001, what probably failed:", *(f"  {line}" for line in LINES)]


def test_the_live_screen_keeps_them_below_the_verdict_of_their_board():
    """Three lines, in 24 rows with rails and all, until the next board; those of an earlier board are only printed."""
    shown = Shown().run(lines(5.251))
    shown.screen.close_attempt(replace(FAILED, lines=lines(5.251)), Path("VN-0001.1.html"))
    shown.screen.show_causes("VN-0000", ["an earlier one"])
    assert "an earlier one" not in shown.text
    shown.screen.show_causes("VN-0001", [*LINES, "more"])
    rows = shown.text.splitlines()
    assert len(rows) <= 24
    assert [row.strip() for row in rows if "R5B" in row or "310 ohm" in row] == [line.strip() for line in LINES]
    assert "more" not in shown.text
    shown.run(lines(), "VN-0002")
    assert "R5B is open" not in shown.text


def test_a_batch_says_what_probably_failed(tmp_path):
    """From end to end: the fault table is there, the board with an open divider fails, its part is named and kept."""
    save(tmp_path, small_table())
    arguments = ("boards", "vent-nest", "--batch", "try", "--bench", "simulated", "--serials", "VN-0004", "--causes")
    done = batchtest(*arguments, "--reports", str(tmp_path))
    assert (done.returncode, done.stderr) == (0, "")
    assert "VN-0004, what probably failed:\n" in done.stdout
    assert "over 99 %  R5B is open\n" in done.stdout
    assert CAUTIONS[0] in done.stdout
    (found,) = read_findings(tmp_path, "try")
    assert (found.serial, found.advice) == ("VN-0004", "change R5B")
    for page in ("VN-0004.1.html", "batch.html"):
        assert "R5B is open" in (tmp_path / "try" / page).read_text()


def followed(reports: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], *records: Path):
    """What the second program says where these are all that it is asked for."""
    monkeypatch.setattr("sys.stdin", io.StringIO("".join(f"{path}\n" for path in records)))
    follow(demo_setup(), reports)
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_the_second_program_answers_record_after_record(tmp_path, monkeypatch, capsys):
    """A good board has no lines; a record that is not there is an error, and no end."""
    save(tmp_path, small_table())
    records = [recorded(tmp_path, "VN-0001", "R5B open"), recorded(tmp_path, "VN-0002", "")]
    gone = tmp_path / "spring-1" / "VN-0003.1.csv"
    ready, first, second, third = followed(tmp_path, monkeypatch, capsys, *records, gone)
    assert ready == {"ready": True}
    assert (first["record"], first["lines"][-1]) == ("spring-1/VN-0001.1.csv", "change R5B")
    assert second == {"record": "spring-1/VN-0002.1.csv", "lines": []}
    assert "VN-0003.1.csv has no description that can be read" in third["error"]


def test_it_ends_with_its_input_while_the_table_is_being_made(tmp_path, monkeypatch, capsys):
    """The station is gone: nobody wants the table, and none is kept."""
    assert followed(tmp_path, monkeypatch, capsys) == []
    assert list(tmp_path.glob(".faults*")) == []


@pytest.mark.parametrize("fault", ["R5B open", ""])
def test_its_answer_is_what_the_screen_shows(tmp_path, fault):
    """Through `causes_beside`, as a batch has it."""
    save(tmp_path, small_table())
    record, kept = recorded(tmp_path, "VN-0001", fault), Kept()
    with causes_beside(replace(demo_setup(), root=ROOT), tmp_path, wanted=True) as causes:
        assert causes is not None
        causes.ask(replace(FAILED, record=f"spring-1/{record.name}"))
        causes.wait(kept, lambda done, total: None, 60.0)
        assert causes.open == []
    assert [line for said in kept.shown.values() for line in said if line == "change R5B"] == ["change R5B"] * bool(
        fault
    )
