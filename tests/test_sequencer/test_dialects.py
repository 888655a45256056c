"""Whatever the instruments speak, the same boards get the same verdicts; and what a load cannot hold is not judged."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import pytest
from dialects import PAIRINGS, STYLES, in_styles, verdicts
from stations import demo_setup, stand

from batchtest.errors import InstrumentRefused
from batchtest.nouns import Line, Phase, Verdict
from batchtest.simulated.faces import FACES, PLAIN

#: Volume; its lines are covered by others, and tracing them would take longer than running them.
pytestmark = pytest.mark.no_cover

#: A board that goes through the whole procedure and fails in some of it.
BOARD = {"VN-0001": "RS12 short"}
Found = tuple[str, list[tuple[str, str]]]


def seen(folder: Path, *styles: str) -> Found:
    """Outcome and verdicts of the board, on instruments that speak these dialects."""
    with stand(folder, in_styles(demo_setup(BOARD), *styles)) as on:
        (attempt,) = on.test(*BOARD)
        assert on.outputs_on == []
        return verdicts(attempt, on.watcher.lines)


@cache
def plainly(folder: Path) -> Found:
    """The same on the instruments of the demo."""
    return seen(folder)


@pytest.mark.parametrize("styles", PAIRINGS, ids="+".join)
def test_the_same_board_gets_the_same_verdicts(
    tmp_path_factory: pytest.TempPathFactory, styles: tuple[str, ...]
) -> None:
    """Outcome, and the verdict of every reading, are those of the plain bench."""
    folder = tmp_path_factory.getbasetemp() / "dialects"
    outcome, lines = plainly(folder / "plain")
    assert outcome == "fail"
    assert {verdict for _, verdict in lines} == {"pass", "fail"}
    assert seen(folder / "-".join(styles), *styles) == (outcome, lines)


def test_every_style_is_paired() -> None:
    """The pairings leave no style out, and every face has its dialect."""
    paired = {style for pairing in PAIRINGS for style in pairing}
    every = {style for styles in STYLES.values() for style in styles}
    assert every - paired <= set(PLAIN)
    assert every | {"handler-nest"} == {*PLAIN, *FACES}


def test_what_the_load_cannot_draw_is_kept_and_not_judged(tmp_path: Path) -> None:
    """Values at points that the load does not hold are in the record, decide nothing, and nothing is fitted to them."""
    with stand(tmp_path, demo_setup({"VN-0001": ""})) as on:
        on.running.rack.load_amperes = lambda channel, time_s: 0.0  # type: ignore[method-assign]
        (attempt,) = on.test("VN-0001")
        at_load = [line for line in on.watcher.lines if line.measurement.phase is Phase.LOAD]
        drawn = [line for line in at_load if line.measurement.load_A and line.measurement.measurand == "voltage"]
        assert attempt.outcome.value == "doubtful"
        assert drawn
        for line in drawn:
            assert (line.reading.regulated, verdict_of(line)) == (False, Verdict.UNREAD)
            assert line.reading.value is not None
            assert "a load or the supply did not hold what it was set to; not judged" in why_of(line)
        fitted = [
            line for line in on.watcher.lines if line.measurement.measurand in ("regulation", "output resistance")
        ]
        assert fitted
        assert {verdict_of(line) for line in fitted} == {Verdict.UNREAD}


def verdict_of(line: Line) -> Verdict | None:
    """The verdict of a line."""
    return None if line.judgement is None else line.judgement.verdict


def why_of(line: Line) -> str:
    """Its reason."""
    return "" if line.judgement is None else line.judgement.why


def test_every_load_point_has_the_status_word(tmp_path: Path) -> None:
    """Each reading at a load point carries the load's word as it was read, at 0 A too."""
    with stand(tmp_path, demo_setup({"VN-0001": ""})) as on:
        on.test("VN-0001")
        loaded = {name for name, point in on.station.setup.fixture.points.items() if point.load is not None}
        at_load = [line for line in on.watcher.lines if line.measurement.phase is Phase.LOAD]
        words = [line.reading.status for line in at_load if line.measurement.point in loaded and line.reading.raw]
        assert len(words) > 6
        assert set(words) == {"supply=256 supply-questionable=0 load=0"}


def test_a_status_bit_that_nobody_knows_stops_the_attempt(tmp_path: Path) -> None:
    """In the middle of the load points: stopped, not failed, and everything off."""
    with stand(tmp_path, demo_setup({"VN-0001": ""})) as on:
        load = on.running.instruments.load

        def show_bit_5(line: Line) -> None:
            if line.measurement.phase is Phase.LOAD:
                load.refresh = lambda: load.status.questionable.see(32)  # type: ignore[method-assign]

        on.watcher.on_line = show_bit_5
        attempts = on.attempts(["VN-0001"], "try")
        with pytest.raises(InstrumentRefused, match="bit 5 of 'load' is set and the dialect does not know it"):
            list(attempts)
        record = next((on.reports / "try").glob("*.json"))
        assert '"stopped"' in record.read_text()
        assert on.outputs_on == []
