"""What a person sees while boards are tested, in a terminal, in a pipe, and what a machine does not see."""

from __future__ import annotations

import io
import re
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from rich.console import Console
from test_pages.examples import STARTED, gate, line, lines, loads, record, soft_start, summary

from batchtest.commands.board_view import BoardView
from batchtest.commands.letters import large
from batchtest.commands.live import LiveScreen
from batchtest.commands.marks import STYLES, marked
from batchtest.commands.screen import PlainScreen, SilentScreen, choose_screen, clean, result_line, summary_lines
from batchtest.errors import SetupError
from batchtest.nouns import Attempt, Outcome, Verdict
from batchtest.procedure.actions import Action

CAUSE = "logic @ load point 1: 5.2510 V is 51.0 mV above the upper bound 5.2 V"
HOSTILE = "[red]VN[/] \x1b[2J\n[/bogus]"
ACTION = Action(title="load point 2: 20.0 mA", seconds=1.0)


def _attempt(outcome: Outcome, cause: str | None = None, serial: str = "VN-0001", **changes: object) -> Attempt:
    return Attempt(
        board="vent", batch="b", serial=serial, number=1, outcome=outcome, first_cause=cause, started=STARTED,
        duration_s=14.25, record="b/x.csv", **changes,
    )  # fmt: skip


class Shown:
    """A live screen on a terminal of our own, and what it shows."""

    def __init__(self, width: int = 80, height: int = 24, encoding: str = "utf-8") -> None:
        stream = io.TextIOWrapper(io.BytesIO(), encoding=encoding)
        self.console = Console(file=stream, force_terminal=True, width=width, height=height, color_system="truecolor")
        self.screen = LiveScreen(sys.stdout, self.console)
        self.screen.start_batch(board="vent", batch="b", bench="simulated", serials_total=20, simulated=True)

    def run(self, known: object, serial: str = "VN-0001") -> Shown:
        """One board, up to its last line."""
        self.screen.start_attempt(serial, 1, 14.0)
        self.screen.start_action(ACTION, 5.0)
        for one in known:
            self.screen.show_line(one)
        return self

    @property
    def text(self) -> str:
        """What is drawn now, without colours."""
        with self.console.capture() as captured:
            self.console.print(self.screen.render())
        return re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", captured.get())


@pytest.mark.parametrize(
    ("json", "terminal", "term", "kind"),
    [
        pytest.param(True, True, "xterm", SilentScreen, id="json"),
        pytest.param(False, False, "xterm", PlainScreen, id="pipe"),
        pytest.param(False, True, "dumb", PlainScreen, id="dumb-terminal"),
        pytest.param(False, True, "xterm", LiveScreen, id="terminal"),
    ],
)
def test_the_screen_suits_who_reads_it(monkeypatch, json, terminal, term, kind):
    """Live only where a cursor can move."""
    monkeypatch.setenv("TERM", term)
    stream = io.StringIO()
    stream.isatty = lambda: terminal
    assert type(choose_screen(json, stream)) is kind


def _play(screen: object) -> None:
    with screen:
        screen.start_batch(
            board="vent", batch="b", bench="bench-1", serials_total=2, simulated=True, cautions=("lid down",)
        )
        for serial, outcome, cause in (("VN-0001", Outcome.PASS, None), ("VN-0002", Outcome.FAIL, CAUSE)):
            screen.start_attempt(serial, 1, 14.0)
            screen.start_action(ACTION, 5.0)
            screen.show_line(line("logic @ load point 1", 5.0))
            screen.close_attempt(_attempt(outcome, cause, serial), Path(f"{serial}.1.html"))
        screen.message("the scanner ran slow")
        screen.end_batch(summary([record(Outcome.PASS), record(Outcome.FAIL, CAUSE, serial="VN-0002")]))


def test_plain_lines_hold_what_matters():
    """One line an attempt: place in the batch, verdict, seconds, first cause."""
    stream = io.StringIO()
    _play(PlainScreen(stream))
    assert stream.getvalue().splitlines() == [
        "SIMULATED BENCH: no real board is measured",
        "batch b: 2 vent on bench bench-1",
        "caution: lid down",
        "1/2 VN-0001 attempt 1: pass in 14.2 s",
        f"2/2 VN-0002 attempt 1: FAIL in 14.2 s: {CAUSE}",
        "the scanner ran slow",
        "batch 2026-11-A: 2 boards: 1 pass, 1 fail",
        "first-pass yield 1 of 2, 50 % (95 % interval 1 to 99 %)",
    ]


def test_a_batch_without_a_known_length_counts_up():
    """Serials typed one after another have no total."""
    stream = io.StringIO()
    screen = PlainScreen(stream)
    screen.start_batch(board="vent", batch="b", bench="lan", serials_total=0, simulated=False)
    screen.close_attempt(_attempt(Outcome.PASS), None)
    assert stream.getvalue().splitlines() == ["batch b: vent on bench lan", "1 VN-0001 attempt 1: pass in 14.2 s"]


def test_a_machine_sees_nothing(capsys):
    """Standard output is kept for JSON."""
    _play(SilentScreen())
    assert capsys.readouterr() == ("", "")


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30)], ids=["80x24", "100x30"])
def test_a_verdict_is_large_and_fits(outcome, width, height):
    """Serial, cause and what to do next stand below it; nothing is wider or higher than the terminal."""
    shown = Shown(width, height).run(lines(5.251))
    shown.screen.close_attempt(_attempt(outcome, CAUSE, lines=lines(5.251)), Path("VN-0001.1.html"))
    rows = shown.text.splitlines()
    assert max(map(len, rows)) <= width
    assert len(rows) <= height
    assert sum("██" in row or "█ " in row for row in rows) == 5
    assert "VN-0001   attempt 1   14.2 s   page VN-0001.1.html" in shown.text
    assert CAUSE in shown.text
    assert "Next: " in shown.text


def test_running_looks_like_no_verdict():
    """It is named, it moves, and no block letters are drawn."""
    shown = Shown().run(gate())
    assert re.search(r"\S  RUNNING   VN-0001   attempt 1 +about [45] s left", shown.text)
    assert ACTION.title in shown.text
    assert "█" not in shown.text
    assert "━" in shown.text


def test_the_screen_stays_as_high_when_a_verdict_comes():
    """What stands below does not jump."""
    shown = Shown(100).run(loads())
    before = [row.startswith("rail") for row in shown.text.splitlines()].index(True)
    shown.screen.close_attempt(_attempt(Outcome.PASS, lines=lines()), None)
    after = [row.startswith("rail") for row in shown.text.splitlines()].index(True)
    assert abs(before - after) <= 1


def test_rails_are_shown_as_they_are_read():
    """Rails down, load points across, each value with its unit, shape and word."""
    text = Shown().run(loads(5.251)).text
    assert re.search(r"rail +load point 1 +load point 2 +load point 3", text)
    assert re.search(r"logic +5\.25100 V ✘ fail +5\.23000 V ✘ fail", text)
    assert re.search(r"bias +-2\.40000 V ✔ pass", text)
    assert "fail: logic @ load point 1: 5.25100 V, limits 4.8 to 5.2 V" in text


def test_the_soft_start_fills_the_table_until_there_are_load_points():
    """Its newest step stands left of them, and makes room for them; the supply's own current is no rail."""
    shown = Shown().run(soft_start())
    assert re.search(r"rail +soft start *\n", shown.text)
    assert re.search(r"logic +5\.05000 V ✔ pass *\n", shown.text)
    assert "supply" not in shown.text.partition("rail")[2]
    for known in loads():
        shown.screen.show_line(known)
    assert "rail      load point 1" in shown.text


def test_no_table_before_the_first_rail():
    """An empty table says nothing."""
    assert "rail" not in Shown().run(gate()).text


def test_a_narrow_terminal_keeps_the_newest_load_points():
    """Nothing is folded."""
    text = Shown(width=60).run(loads()).text
    assert "load point 1" not in text.partition("rail")[2]
    assert "load point 3" in text


def test_a_rail_that_is_not_judged_shows_no_verdict():
    """No limit, no word."""
    known = line("feed @ load point 1", 24.0, point="feed", load_point=0)
    assert "24.00000 V\n" in re.sub(r" +\n", "\n", Shown().run([known]).text)


def test_a_rail_not_yet_read_at_a_load_point_is_blank():
    """A cell is filled when its reading comes."""
    text = Shown().run(list(loads())[:5]).text
    assert re.search(r"logic +5\.02100 V ✔ pass *\n", text)


def test_phases_show_their_gravest_verdict():
    """One that failed is not hidden by those that pass after it."""
    view = BoardView("VN-0001", 1)
    for known in (*gate(), *loads(5.251)):
        view.add(known)
    assert view.phases(ascii_only=False).plain == "gate ✔ pass   load ✘ fail"
    assert view.first_not_passed.measurement.name == "logic @ load point 1"


def test_the_last_verdict_stays_until_something_is_done_to_the_next_board():
    """A failure stays in sight while boards change places."""
    shown = Shown().run(lines())
    shown.screen.close_attempt(_attempt(Outcome.FAIL, CAUSE), None)
    shown.screen.start_attempt("VN-0002", 1, 14.0)
    assert CAUSE in shown.text
    shown.screen.start_action(ACTION, 14.0)
    assert CAUSE not in shown.text
    assert "RUNNING   VN-0002" in shown.text


def test_an_attempt_that_ends_before_its_first_action_has_the_screen():
    """Its verdict does not stand above the rails of the board before."""
    shown = Shown().run(loads())
    shown.screen.close_attempt(_attempt(Outcome.PASS), None)
    shown.screen.start_attempt("VN-0002", 1, 14.0)
    shown.screen.close_attempt(_attempt(Outcome.STOPPED, "handler: no reply", "VN-0002"), None)
    assert "handler: no reply" in shown.text
    assert "logic" not in shown.text


def test_a_line_alone_gives_the_screen_to_its_board():
    """A reading is never put into the board before."""
    shown = Shown().run(loads())
    shown.screen.close_attempt(_attempt(Outcome.PASS), None)
    shown.screen.start_attempt("VN-0002", 1, 0.0)
    shown.screen.show_line(line("bias @ load point 1", -2.4, point="bias", load_point=0))
    assert "RUNNING   VN-0002" in shown.text
    assert "logic" not in shown.text


def test_boards_are_counted_once_and_outcomes_each_time():
    """A retest is one more attempt, not one more board."""
    shown = Shown().run(lines())
    shown.screen.close_attempt(_attempt(Outcome.FAIL, CAUSE), None)
    shown.run(lines()).screen.close_attempt(_attempt(Outcome.PASS), None)
    assert "boards done: 1 of 20" in shown.text
    assert "✘ fail 1   ✔ pass 1" in shown.text


def test_a_board_not_shown_dead_is_a_danger():
    """In words, on the screen, until the next board."""
    shown = Shown().run(loads())
    shown.screen.close_attempt(_attempt(Outcome.STOPPED, "meter: no reply", lines=tuple(loads())), None)
    assert "DANGER: No reading shows that the board was dead at the end." in " ".join(shown.text.split())


@pytest.mark.parametrize(
    ("outcome", "read", "says"),
    [
        pytest.param(Outcome.PASS, lines, "; safe to disconnect, by measurement", id="shown-dead"),
        pytest.param(Outcome.STOPPED, loads, "\nDANGER: No reading shows that the board was dead", id="not-shown"),
        pytest.param(Outcome.FAIL, gate, "", id="never-powered"),
    ],
)
def test_a_plain_screen_says_safe_only_by_measurement(outcome: Outcome, read: Callable[[], Any], says: str):
    """In the result: safe where it was measured. Below it a danger where it was not; nothing where nothing was on."""
    stream = io.StringIO()
    attempt = _attempt(outcome, lines=tuple(read()))
    PlainScreen(stream).close_attempt(attempt, None)
    result = f"1 {result_line(attempt)}"
    assert stream.getvalue().startswith(f"{result}{says}" if says else f"{result}\n")


def test_a_simulated_bench_is_marked_all_the_time():
    """Running, and at a verdict."""
    shown = Shown().run(lines())
    assert "SIMULATED BENCH" in shown.text
    shown.screen.close_attempt(_attempt(Outcome.PASS), None)
    assert "SIMULATED BENCH" in shown.text


def test_before_the_first_board_there_is_only_the_heading():
    """No verdict, no table; a total that is not known is not shown."""
    shown = Shown()
    shown.screen.start_batch(board="vent", batch="b", bench="lan", serials_total=0, simulated=False)
    shown.screen.show_line(line("logic @ load point 1", 5.0))
    assert shown.text.split() == ["vent", "batch", "b", "bench", "lan", "boards", "done:", "0"]


def test_markup_and_control_characters_are_only_text():
    """A name is shown as it is written, and the terminal obeys none of it."""
    shown = Shown(100).run([line(HOSTILE, 9.0, upper=5.0, point=HOSTILE, load_point=0)], serial=HOSTILE)
    assert "[red]VN[/] ?[2J [/bogus]" in shown.text
    shown.screen.close_attempt(_attempt(Outcome.FAIL, HOSTILE, HOSTILE), Path(HOSTILE))
    assert shown.text.count("[red]VN[/] ?[2J [/bogus]") >= 3


def test_a_terminal_without_unicode_gets_plain_shapes():
    """Every character can be written."""
    shown = Shown(encoding="ascii").run(loads(5.251))
    assert "x fail" in shown.text
    shown.screen.close_attempt(_attempt(Outcome.FAIL, CAUSE), None)
    shown.text.encode("ascii")


def test_what_was_closed_stays_above_the_live_screen():
    """Verdicts, messages and the summary are still there when the screen is gone."""
    shown = Shown(120)
    with shown.console.capture() as captured:
        _play(shown.screen)
    text = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", captured.get())
    for said in ("caution: lid down", "✔ VN-0001 attempt 1: pass", f"FAIL in 14.2 s: {CAUSE}", "the scanner ran slow"):
        assert said in text
    assert "first-pass yield 1 of 2" in text


@pytest.mark.parametrize("kind", ["plain", "silent", "live"])
def test_an_answer_is_read_from_the_person(monkeypatch, capsys, kind):
    """One line, without its end."""
    monkeypatch.setattr(sys, "stdin", io.StringIO("VN-0003\nmore"))
    live = Shown()
    screen = {"plain": PlainScreen(sys.stdout), "silent": SilentScreen(), "live": live.screen}[kind]
    with screen:
        assert screen.ask("serial: ") == "VN-0003"
    out, err = capsys.readouterr()
    live.console.file.seek(0)
    assert "serial: " in {"plain": out, "silent": err, "live": live.console.file.read()}[kind]


def test_the_end_of_input_is_no_answer(monkeypatch):
    """Nobody there is not a yes."""
    monkeypatch.setattr(sys, "stdin", io.StringIO(""))
    with pytest.raises(SetupError, match="nobody answers 'close the lid, press Enter'"):
        PlainScreen(io.StringIO()).ask("close the lid, press Enter ")


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
@pytest.mark.parametrize("width", [20, 60, 200])
def test_large_words_are_five_even_rows(outcome, width):
    """Each outcome has its letters and its shape; pixels double where there is room."""
    rows = large(outcome, width)
    assert len(rows) == 5
    assert len({len(row) for row in rows}) == 1
    assert len(rows[0]) <= max(width, 60)


@pytest.mark.parametrize("word", [*Verdict, *Outcome], ids=str)
def test_every_word_has_a_shape_and_a_style(word):
    """In Unicode and in ASCII, the word always beside it."""
    assert marked(word.value, ascii_only=False)[0].endswith(f" {word}")
    assert marked(word.value, ascii_only=True)[0].isascii()
    assert word.value in STYLES


def test_a_summary_names_open_attempts():
    """They are to be tested anew; without a board there is no yield."""
    assert summary_lines(summary([], open=("VN-0009.1",))) == [
        "batch 2026-11-A: 0 boards",
        "open, to be tested anew: VN-0009.1",
    ]


def test_a_result_without_a_cause_ends_at_its_time():
    """A pass is one short line."""
    assert result_line(_attempt(Outcome.PASS)) == "VN-0001 attempt 1: pass in 14.2 s"
    assert clean("a\tb\x07") == "a?b?"
