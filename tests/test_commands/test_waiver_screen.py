"""A waiver on the screens: live above everything, a line at the start and with every verdict elsewhere."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from pathlib import Path

import pytest
from test_pages.examples import gate, lines, loads
from test_pages.test_waivers import BROKEN, broken_off
from test_records.waivers import a_waiver

from batchtest.commands.board_view import BoardView
from batchtest.commands.screen import PlainScreen, SilentScreen, changes
from batchtest.nouns import Outcome, Phase, Verdict
from test_commands.test_screen import CAUSE, Shown, _attempt, _play

WAIVER = a_waiver(number=1)
SAID = (
    "//// WAIVED: id resistor of vent-lead, until 2026-03-14 08:00 +00:00, by K. Ahn and M. Osei: "
    "the resistor in the hood broke off; continuity checked by hand (waiver 1) ////"
)
EXPIRED = "waiver 1 expired on 2026-03-14 08:00 +00:00; it excuses nothing (id resistor of vent-lead)"


def plain(*steps: object) -> list[str]:
    """What a plain screen prints."""
    stream = io.StringIO()
    screen = PlainScreen(stream)
    for step in steps:
        step(screen)
    return stream.getvalue().splitlines()


def closing(screen: object) -> None:
    """A board passes."""
    screen.close_attempt(_attempt(Outcome.PASS), None)


def test_plain_lines_tell_it_at_the_start_and_with_each_verdict():
    """Both names, reason, expiry and reading each time, so that no cut of a log is without it."""
    verdict = "VN-0001 attempt 1: pass in 14.2 s"
    assert plain(lambda screen: screen.show_waivers((WAIVER,)), closing, closing) == [
        SAID, f"1 {verdict}", SAID, f"2 {verdict}", SAID,
    ]  # fmt: skip


def test_a_waiver_that_is_over_is_told_once():
    """From there on it stands nowhere."""
    said = plain(
        lambda screen: screen.show_waivers((WAIVER,)),
        lambda screen: screen.show_waivers((WAIVER,)),
        lambda screen: screen.show_waivers(()),
        closing,
    )
    assert said == [SAID, EXPIRED, "1 VN-0001 attempt 1: pass in 14.2 s"]


def test_only_what_changes_is_said_again():
    """A second waiver does not repeat the first."""
    second = a_waiver(number=2)
    assert len(changes((WAIVER,), (WAIVER, second))) == 1
    assert changes((WAIVER,), (WAIVER,)) == []


def test_a_machine_sees_nothing(capsys):
    """Standard output is kept for JSON."""
    screen = SilentScreen()
    screen.show_waivers((WAIVER,))
    assert capsys.readouterr() == ("", "")


def shown(waivers: tuple[object, ...] = (WAIVER,), **size: int) -> Shown:
    """A live screen under waivers."""
    live = Shown(**size)
    live.screen.show_waivers(waivers)
    return live


def flat(text: str) -> str:
    """Rows run together."""
    return " ".join(text.split())


def test_the_live_screen_shows_it_before_while_and_after_a_board():
    """From the start to the last verdict, above everything but the mark of a simulated bench."""
    live = shown()
    assert SAID in flat(live.text)
    live.run(gate())
    assert SAID in flat(live.text)
    live.screen.close_attempt(_attempt(Outcome.PASS, lines=lines()), None)
    assert SAID in flat(live.text)
    assert live.text.splitlines()[1].startswith("//// WAIVED")


@pytest.mark.parametrize("outcome", list(Outcome), ids=str)
@pytest.mark.parametrize(("width", "height"), [(80, 24), (100, 30)], ids=["80x24", "100x30"])
def test_waiver_verdict_and_rails_fit(outcome, width, height):
    """On the smallest terminal all of it is in sight at once."""
    live = shown(width=width, height=height).run((*broken_off(), *loads(5.251)))
    live.screen.close_attempt(_attempt(outcome, CAUSE, lines=lines(5.251)), Path("VN-0001.1.html"))
    rows = live.text.splitlines()
    assert max(map(len, rows)) <= width
    assert len(rows) <= height
    assert SAID in flat(live.text)
    assert sum("██" in row or "█ " in row for row in rows) == 5
    assert any(row.startswith("bias") for row in rows)


def test_the_screen_stays_as_high_when_a_verdict_comes():
    """What stands below does not jump under a waiver either."""
    live = shown(width=100).run(loads())
    before = [row.startswith("rail") for row in live.text.splitlines()].index(True)
    live.screen.close_attempt(_attempt(Outcome.PASS, lines=lines()), None)
    after = [row.startswith("rail") for row in live.text.splitlines()].index(True)
    assert abs(before - after) <= 1


def test_a_waived_reading_is_no_failure_of_the_board_on_the_live_screen():
    """The phase passes but for so many waived ones, and the row of what did not pass stays free for others."""
    live = shown().run(broken_off(verdict=Verdict.FAIL))
    assert "before power" not in live.text
    assert re.search(r"gate ✔ pass 1 waived", live.text)
    assert "fail:" not in live.text


def test_another_reading_that_fails_is_still_shown():
    """A waiver hides nothing that it does not name."""
    view = BoardView("VN-0001", 1, (WAIVER,))
    for known in (BROKEN, replace(BROKEN, measurement=replace(BROKEN.measurement, name="pin map feed"))):
        view.add(known)
    assert view.waived == {Phase.GATE: 1}
    assert view.first_not_passed.measurement.name == "pin map feed"
    assert view.phases(ascii_only=True).plain == "gate x fail 1 waived"


def test_the_lines_above_the_live_screen_keep_it():
    """With its coming, with each verdict, and with its end: it is still there when the screen is gone."""
    live = shown((), width=200)
    with live.console.capture() as captured:
        live.screen.show_waivers((WAIVER,))
        _play(live.screen)
        live.screen.show_waivers(())
    text = re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", captured.get())
    assert [row.strip() for row in text.splitlines()].count(SAID) >= 3
    assert EXPIRED in text


def test_a_terminal_without_unicode_shows_it_too():
    """Tape and words are plain characters."""
    live = Shown(encoding="ascii")
    live.screen.show_waivers((WAIVER,))
    assert SAID in flat(live.text)
    live.text.encode("ascii")
