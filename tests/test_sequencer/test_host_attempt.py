"""Attempts at live hosts: recorded like a board's, and off on every way out."""

from __future__ import annotations

from pathlib import Path

import pytest
from host_stands import host_setup, host_stand

from batchtest.nouns import Line, Outcome, Phase, Verdict
from batchtest.pages import write_attempt_page
from batchtest.records.record import read_record


@pytest.mark.no_cover
def test_healthy_hosts_are_proven_and_nothing_of_the_bench_was_ever_on(tmp_path: Path):
    """Drawn parts, mains and warmth of each: no false refusal, every host off at the end, supply and load never on."""
    with host_stand(tmp_path) as stand:
        for number in range(1, 7):
            attempt, ending = stand.map(f"CB-{number:03d}")
            assert (attempt.outcome, ending.error) == (Outcome.PASS, None), ending.first_cause
            assert not stand.live
        assert stand.was_on == []
        on = [entry for entry in stand.running.log.states("host") if entry.text.endswith(" on")]
        assert len(on) == 6


def test_a_record_says_what_was_on_the_bench(tmp_path: Path):
    """The host in place of a board, no cable, its files and the readings that came before power, whole in the chain."""
    with host_stand(tmp_path) as stand:
        attempt, _ = stand.map("CB-001")
    record = read_record(tmp_path / attempt.record)
    context = record.context
    assert (context.kind, context.board, context.board_revision, context.cable) == ("host", "cabinet", "A", "")
    assert (context.fixture, context.rule, context.waivers) == ("cabinet-breakout", "guarded", ())
    assert "fixtures/hosts/cabinet-breakout.toml" in context.file_hashes
    assert record.unaltered
    live = [line for line in record.lines if line.measurement.phase is Phase.HOST]
    assert [line.measurement.point for line in live] == list(stand.station.setup.fixture.points)
    assert {line.judgement.verdict for line in live if line.judgement} == {Verdict.PASS}
    assert "host feed" not in record.closing.proof
    assert "contact host.8 (206)" in record.closing.proof


def test_the_screen_is_told_of_each_action_and_the_time_left(tmp_path: Path):
    """In the order of the procedure."""
    with host_stand(tmp_path) as stand:
        stand.map("CB-001")
        assert stand.watcher.actions == list(stand.station.procedure.actions)


def test_the_page_of_a_good_host_says_so(tmp_path: Path):
    """Of a host, not of a board; its pins have a section of their own; it was shown dead at the end."""
    with host_stand(tmp_path) as stand:
        page = write_attempt_page(tmp_path / stand.map("CB-001")[0].record).read_text()
    assert "<p>host <b>cabinet</b>" in page
    assert "this host has on its pins what its circuit says, and nothing else" in page
    assert "Pins of the live host" in page
    assert "none: nothing was mated" in page
    assert "Danger: treat as live" not in page


def test_the_page_of_a_refused_host_warns_of_its_mains(tmp_path: Path):
    """What to do is a host's: isolate it, look at the plug, mate nothing; it never claims that nothing was powered."""
    with host_stand(tmp_path, host_setup({"CB-002": "pins 6-8 swapped"})) as stand:
        page = write_attempt_page(tmp_path / stand.map("CB-002")[0].record).read_text()
    assert "Mate no board and no cable to this host." in page
    assert "Isolate the host at its mains" in page
    assert "Nothing was powered" not in page
    assert "Danger: treat as live" not in page


def test_the_page_of_a_stopped_map_says_that_the_host_may_be_live(tmp_path: Path):
    """Nothing was measured after it went off."""
    with host_stand(tmp_path) as stand:
        stand.watcher.on_line = _interrupt
        page = write_attempt_page(tmp_path / stand.map("CB-001")[0].record).read_text()
    assert "No reading shows that the host was dead at the end" in page
    assert "Map the host anew" in page


def _interrupt(line: Line) -> None:
    if line.measurement.name == "host ground":
        raise KeyboardInterrupt
